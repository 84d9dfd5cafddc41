package captures

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"plenilune/pipeline"
)

// The programs that read films. Both come with FFmpeg.
const (
	decoder = "ffmpeg"
	prober  = "ffprobe"
)

// containers are the kinds of file that may be read: those that hold all of a film themselves. Lists of other files, and
// addresses, are none of them.
const containers = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,asf,mpeg,mpegvideo,mpegts,h264,hevc,ogg,flv,yuv4mpegpipe,ivf,gif,nut,mxf"

// only keeps a program to the one file that it is given, and to so many bytes for one thing.
var only = []string{"-protocol_whitelist", "file,pipe", "-format_whitelist", containers, "-max_alloc", strconv.Itoa(1 << 30)}

// mostFilmPixels bounds a film's frame.
const mostFilmPixels = 1 << 27

// filmPart asks what a film is.
func filmPart(it pipeline.Item, set sourceSettings) pipeline.Part {
	return pipeline.Part{
		Name: "film", Item: it, Version: 3, Settings: set,
		In: []pipeline.Input{{Port: "file", Value: it.Values["file"]}}, Out: []string{"source"},
		Memory: 256 << 20, Run: pipeline.Bind(runFilm),
	}
}

// streamSays is what the prober tells of the first moving picture.
type streamSays struct {
	Codec    string `json:"codec_name"`
	Width    int    `json:"width"`
	Height   int    `json:"height"`
	Format   string `json:"pix_fmt"`
	Transfer string `json:"color_transfer"`
	Frames   string `json:"nb_frames"`
	Rate     string `json:"avg_frame_rate"`
	Tags     tags   `json:"tags"`
}

func runFilm(ctx context.Context, set sourceSettings, t *pipeline.Task) error {
	if err := newEnough(set.Program); err != nil {
		return err
	}
	s, err := lookAtFilm(set, func(args []string, out *limited) (string, error) {
		return t.One("file").Through(ctx, prober, args, out)
	})
	if err != nil {
		return err
	}
	t.FactText("read by", set.Program)
	s.state(t)
	return t.PutTable("source", s)
}

// lookAtFilm asks the prober, which ask runs, what a film is.
func lookAtFilm(set sourceSettings, ask func(args []string, out *limited) (said string, err error)) (source, error) {
	args := append([]string{"-hide_banner", "-v", "error"}, only...)
	args = append(args, "-select_streams", "V:0", "-show_entries",
		"stream=codec_name,width,height,pix_fmt,color_transfer,nb_frames,avg_frame_rate:stream_tags=creation_time:"+
			"format=duration:format_tags=creation_time,com.apple.quicktime.creationdate", "-of", "json", pipeline.FilePath)
	out := &limited{most: 1 << 20}
	said, err := ask(args, out)
	if err != nil {
		return source{}, unreadable(set.Program, said, err)
	}
	var says struct {
		Streams []streamSays `json:"streams"`
		Format  formatSays   `json:"format"`
	}
	if err := json.Unmarshal(out.b, &says); err != nil || len(says.Streams) == 0 {
		return source{}, unreadable(set.Program, said, errors.New("no moving picture is in it"))
	}
	return says.Streams[0].source(set.Encoding, says.Format)
}

// They are the first version of FFmpeg that can be asked to give every frame once, whatever its time (-fps_mode).
const oldestMajor, oldestMinor = 5, 1

// released is how a release says its version; what is built between releases says none.
var released = regexp.MustCompile(`^ffmpeg version n?(\d+)\.(\d+)`)

// newEnough refuses releases of FFmpeg that are too old.
func newEnough(program string) error {
	m := released.FindStringSubmatch(program)
	if m == nil {
		return nil
	}
	major, err1 := strconv.Atoi(m[1])
	minor, err2 := strconv.Atoi(m[2])
	if errors.Join(err1, err2) == nil && (major < oldestMajor || major == oldestMajor && minor < oldestMinor) {
		return fmt.Errorf("%s is too old to read it: install FFmpeg %d.%d or later, or record clips as SER", program, oldestMajor, oldestMinor)
	}
	return nil
}

// limited keeps what is written, up to a bound.
type limited struct {
	b    []byte
	most int
}

func (l *limited) Write(b []byte) (int, error) {
	if len(l.b)+len(b) > l.most {
		return 0, errors.New("it says too much")
	}
	l.b = append(l.b, b...)
	return len(b), nil
}

// unreadable says in one line that a film cannot be read.
func unreadable(program, said string, err error) error {
	if program == "" {
		return err // there is no such program
	}
	if said = firstLine(said); said == "" {
		said = err.Error()
	}
	name, _, _ := strings.Cut(program, ",") // without its libraries
	return fmt.Errorf("%s cannot read it: %s", name, said)
}

// speaker is what of a program speaks, and an address in its memory.
var speaker = regexp.MustCompile(`^(\[[^\]]*\] *)+`)

// firstLine is the first thing that a program said.
func firstLine(said string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(said), "\n")
	return speaker.ReplaceAllString(line, "")
}

// source decides how a film is decoded.
func (v streamSays) source(setting string, whole formatSays) (source, error) {
	s := source{Format: v.Codec + ", " + v.Format, Width: v.Width, Height: v.Height, Planes: 3, Bits: 8}
	grey := strings.HasPrefix(v.Format, "gray") || strings.HasPrefix(v.Format, "ya8") || strings.HasPrefix(v.Format, "ya16") || strings.HasPrefix(v.Format, "mono")
	if grey {
		s.Planes = 1
	}
	if deep(v.Format) {
		s.Bits = 16
	}
	if w, h := int64(v.Width), int64(v.Height); w < 1 || h < 1 || w > 1<<16 || h > 1<<16 || w*h > mostFilmPixels {
		return s, fmt.Errorf("a film of %d×%d px; up to %d Mpx are read", v.Width, v.Height, mostFilmPixels/1000000)
	}
	s.Frames, s.FrameS = countOf(v.Frames, whole.Duration, v.Rate), frameSeconds(v.Rate)
	made := whole.Tags.moment()
	if made.UnixNS == 0 {
		made = v.Tags.moment()
	}
	s.Began, s.Zoned = made.UnixNS, made.Zoned
	var err error
	s.Encoding, err = filmEncoding(setting, v.Transfer, !grey && !storesRGB(v.Format))
	return s, err
}

// storesRGB tells a format of red, green and blue samples.
func storesRGB(format string) bool {
	for _, part := range []string{"rgb", "bgr", "gbr", "bayer"} {
		if strings.Contains(format, part) {
			return true
		}
	}
	return false
}

// deep tells a format of more than 8 bits: it has an order of bytes, but for some of less than 8.
func deep(format string) bool {
	for _, few := range []string{"565", "555", "444le", "444be"} {
		if strings.HasPrefix(format, "rgb"+few) || strings.HasPrefix(format, "bgr"+few) {
			return false
		}
	}
	return strings.HasSuffix(format, "le") || strings.HasSuffix(format, "be")
}

// countOf is how many frames a film has, as far as its container tells, 0 if it does not.
func countOf(frames, duration, rate string) int {
	if n, err := strconv.Atoi(frames); err == nil {
		return max(0, min(n, 1<<24))
	}
	num, den, _ := strings.Cut(rate, "/")
	s, err1 := strconv.ParseFloat(duration, 64)
	a, err2 := strconv.ParseFloat(num, 64)
	b, err3 := strconv.ParseFloat(den, 64)
	if n := math.Round(float64(s*a) / b); errors.Join(err1, err2, err3) == nil && n > 0 && n < 1<<24 {
		return int(n)
	}
	return 0
}

// filmEncoding decides by the setting, or else by what the film says: ITU-T H.273, transfer characteristics. A film of luma
// and colour differences that says nothing is a camera's; one of grey or RGB samples holds what a program put there.
func filmEncoding(setting, transfer string, luma bool) (encoding, error) {
	if setting != encodingAuto {
		return encoding{setting, "the setting encoding"}, nil
	}
	const says = "the film says so"
	switch transfer {
	case "linear":
		return encoding{encodingLinear, says}, nil
	case "iec61966-2-1":
		return encoding{encodingSRGB, says}, nil
	case "bt709", "smpte170m", "bt2020-10", "bt2020-12", "iec61966-2-4", "bt1361e":
		return encoding{encodingBT709, says}, nil
	case "bt470m":
		return encoding{encodingGamma22, says}, nil
	case "bt470bg":
		return encoding{encodingGamma28, says}, nil
	case "arib-std-b67":
		return encoding{encodingHLG, says}, nil
	case "", "unknown", "reserved", "unspecified":
		if luma {
			return encoding{encodingBT709, "nothing says otherwise, and its colours are stored as a camera's"}, nil
		}
		return encoding{encodingLinear, "nothing says otherwise, and its samples are grey or RGB"}, nil
	}
	return encoding{}, fmt.Errorf("its brightness is stored by the curve %q, which is not read; convert it, or set encoding to the curve that comes near", transfer)
}

// layFilmPart decodes a film, once, into plain frames.
func layFilmPart(it pipeline.Item, src pipeline.Value, s source, program string) pipeline.Part {
	return pipeline.Part{
		Name: "lay-film", Item: it, Version: 3, Settings: layFilmSettings{program},
		In:  []pipeline.Input{{Port: "file", Value: it.Values["file"]}, {Port: "source", Value: src}},
		Out: []string{"file", "laid"}, StandIn: "file",
		Memory: 256<<20 + 8*s.layout().FrameBytes(), Run: pipeline.Bind(runLayFilm),
	}
}

// layFilmSettings are what varies the frames beside the film.
type layFilmSettings struct {
	Program string // its version
}

// arguments have the decoder give every frame once, as it was taken: a phone's note that the film is to be shown turned is
// not followed, since panels are joined at any turn and flat frames lie as the sensor does. Decoders that could choose among
// ways to transform back, by what the processor is good at, take the one that is the same everywhere.
func (s source) arguments() []string {
	format := map[[2]int]string{{1, 8}: "gray", {1, 16}: "gray16le", {3, 8}: "rgb24", {3, 16}: "rgb48le"}[[2]int{s.Planes, s.Bits}]
	out := append([]string{"-nostdin", "-hide_banner", "-v", "error"}, only...)
	return append(out, "-max_pixels", strconv.Itoa(mostFilmPixels), "-threads", "2", "-noautorotate",
		"-flags:v", "+bitexact", "-idct", "simple", "-i", pipeline.FilePath,
		"-map", "0:V:0", "-fps_mode", "passthrough", "-sws_flags", "+bitexact+accurate_rnd+full_chroma_int",
		"-pix_fmt", format, "-f", "rawvideo", "pipe:1")
}

func runLayFilm(ctx context.Context, set layFilmSettings, t *pipeline.Task) error {
	var s source
	if err := t.One("source").Table(&s); err != nil {
		return err
	}
	src := t.One("file")
	clip := pipeline.ClipName(src.ID())
	l := &filmLayer{t: t, expected: s.Frames, layer: layer{s: s, out: laid{Format: s.Format, Layout: s.layout(), Bits: s.laidBits(), Damaged: []int{}}}}
	if l.layer.out.Bits == 16 {
		l.layer.table = linearTable(s.Encoding.Name, s.Bits)
	}
	l.in = make([]byte, 0, s.Width*s.Height*s.Planes*s.Bits/8)
	l.frame = make([]byte, l.layer.out.Layout.FrameBytes())
	var said string
	var failed error // as it is to be told
	err := t.PutBytes("file", func(w io.Writer) (err error) {
		l.w = w
		said, err = src.Through(ctx, decoder, s.arguments(), l)
		if failed = errors.Join(ctx.Err(), l.fault); failed == nil && err != nil {
			failed = unreadable(set.Program, said, err)
		}
		return failed
	})
	switch {
	case failed != nil:
		return failed
	case err != nil:
		return err
	case len(l.in) > 0:
		return fmt.Errorf("%s gave %d bytes after %d frames, and a frame has %d: the film's size changes within it, or it was cut off",
			decoder, len(l.in), l.layer.out.Frames, cap(l.in))
	case l.layer.out.Frames == 0:
		return unreadable(set.Program, said, errors.New("no frame came of it"))
	case said != "":
		t.Warn("clip-damaged", "%s: %d frames came of it, and the program that reads it says: %s", clip, l.layer.out.Frames, firstLine(said))
	}
	l.layer.out.timeFilm(s)
	t.Fact("frames laid out", float64(l.layer.out.Frames), "frames")
	t.FactText("decoded by", set.Program)
	t.FactText("encoding", s.Encoding.tell())
	return t.PutTable("laid", l.layer.out)
}

// filmLayer cuts a stream of samples into frames and lays each out.
type filmLayer struct {
	layer    layer
	t        *pipeline.Task
	w        io.Writer
	in       []byte // of one frame, as far as it came
	frame    []byte
	expected int // frames
	fault    error
}

// Write takes the next samples.
func (l *filmLayer) Write(b []byte) (int, error) {
	n := len(b)
	for len(b) > 0 {
		k := min(len(b), cap(l.in)-len(l.in))
		l.in, b = append(l.in, b[:k]...), b[k:]
		if len(l.in) < cap(l.in) {
			continue
		}
		if l.fault = l.lay(); l.fault != nil {
			return 0, l.fault
		}
		l.in = l.in[:0]
	}
	return n, nil
}

// lay lays out the frame that is whole.
func (l *filmLayer) lay() error {
	const most = 1 << 24
	if l.layer.out.Frames++; l.layer.out.Frames > most {
		return fmt.Errorf("more than %d frames", most)
	}
	if l.expected > 0 {
		l.t.Progress(min(1, float64(l.layer.out.Frames)/float64(l.expected)))
	}
	table := l.layer.table
	switch {
	case table == nil:
		copy(l.frame, l.in)
	case l.layer.s.Bits == 8:
		for i, v := range l.in {
			binary.LittleEndian.PutUint16(l.frame[2*i:], table[v])
		}
	default:
		for i := 0; i+1 < len(l.in); i += 2 {
			binary.LittleEndian.PutUint16(l.frame[i:], table[binary.LittleEndian.Uint16(l.in[i:])])
		}
	}
	_, err := l.w.Write(l.frame)
	return err
}
