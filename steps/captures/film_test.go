package captures

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/outsidetest"
)

// tools runs the programs as they are.
type tools struct {
	t     *testing.T
	plain bool // with none of the instructions that only some processors have
}

func (p tools) Version(context.Context, string) (string, error) { return "ffmpeg of this machine", nil }

func (p tools) Run(ctx context.Context, name string, args []string, out io.Writer) (string, error) {
	if !slices.Contains(args, "-protocol_whitelist") || !slices.Contains(args, "-format_whitelist") {
		p.t.Errorf("%s %v may open anything", name, args)
	}
	if p.plain && name == decoder {
		args = append([]string{"-cpuflags", "0"}, args...)
	}
	var said bytes.Buffer
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stdout, cmd.Stderr = out, &said
	err := cmd.Run()
	return said.String(), err
}

// shot has ffmpeg write a film of raw frames and returns its path.
func shot(t *testing.T, name, format string, frames []byte, codec ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	args := append([]string{"-v", "error", "-f", "rawvideo", "-pix_fmt", format, "-s", "32x16", "-i", "-"}, codec...)
	cmd := exec.Command("ffmpeg", append(args, path)...)
	cmd.Stdin = bytes.NewReader(frames)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg %v: %v\n%s", args, err, out)
	}
	return path
}

// noise is bytes in which every value occurs.
func noise(n int) []byte {
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(i*i>>3 ^ i*7)
	}
	return out
}

// laidFilm runs the parts that lead from a film to plain frames.
func laidFilm(t *testing.T, path string) (source, []byte, *pipelinetest.Result, error) {
	t.Helper()
	return laidBy(t, tools{t: t}, path)
}

func laidBy(t *testing.T, p tools, path string) (source, []byte, *pipelinetest.Result, error) {
	t.Helper()
	b := pipelinetest.New()
	in := map[string][]any{"file": {pipelinetest.Film{Path: path, Programs: p}}}
	r, err := b.Run(t, filmPart(pipeline.Item{}, sourceSettings{encodingAuto, "ffmpeg"}), in)
	if err != nil {
		return source{}, nil, r, err
	}
	var s source
	r.Table("source", &s)
	in["source"] = []any{r.Stored("source")}
	r, err = b.Run(t, layFilmPart(pipeline.Item{}, pipeline.Value{}, s, "ffmpeg"), in)
	if err != nil {
		return s, nil, r, err
	}
	return s, r.Bytes("file"), r, nil
}

// TestFilmsWithoutLoss: what a codec without loss keeps comes out as it went in.
func TestFilmsWithoutLoss(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	for _, c := range []struct {
		name, format string
		bytes        int // a pixel
		codec        []string
	}{
		{"grey8.mkv", "gray", 1, []string{"-c:v", "ffv1"}},
		{"grey16.mkv", "gray16le", 2, []string{"-c:v", "ffv1"}},
		{"raw.nut", "gray16le", 2, []string{"-c:v", "rawvideo"}},
		{"rgb.mp4", "rgb24", 3, []string{"-c:v", "libx264rgb", "-qp", "0"}},
		{"deep.mkv", "rgb48le", 6, []string{"-c:v", "ffv1"}},
		{"turned.mov", "rgb24", 3, []string{"-c:v", "png", "-metadata:s:v", "rotate=90"}},
	} {
		want := noise(7 * 32 * 16 * c.bytes)
		s, got, r, err := laidFilm(t, shot(t, c.name, c.format, want, c.codec...))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !bytes.Equal(got, want) || s.Width != 32 || s.Height != 16 || len(r.Warnings) != 0 {
			t.Errorf("%s: %+v: %d bytes of %d, equal: %v; warnings %v", c.name, s, len(got), len(want), bytes.Equal(got, want), r.Warnings)
		}
	}
}

// TestFilmsOnEveryProcessor: codecs with loss give the same samples whatever a processor is good at.
func TestFilmsOnEveryProcessor(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	for name, codec := range map[string]string{"a.mpg": "mpeg2video", "b.avi": "mpeg4", "c.avi": "mjpeg", "d.mp4": "libx264"} {
		path := shot(t, name, "rgb24", noise(7*32*16*3), "-c:v", codec, "-pix_fmt", map[bool]string{true: "yuvj420p", false: "yuv420p"}[codec == "mjpeg"])
		_, quick, _, err := laidFilm(t, path)
		if err != nil {
			t.Errorf("%s: %v", codec, err)
			continue
		}
		if _, plain, _, err := laidBy(t, tools{t: t, plain: true}, path); err != nil || !bytes.Equal(quick, plain) {
			t.Errorf("%s: without the processor's own instructions it gives other samples, error %v", codec, err)
		}
	}
	if a := strings.Join((source{}).arguments(), " "); !strings.Contains(a, " -flags:v +bitexact -idct simple -i "+pipeline.FilePath) {
		t.Errorf("the way to transform back is left to the decoder: %s", a)
	}
}

// TestFilmOfACamera: luma and colour differences of the usual curve become light. Grey stays grey, and a mid-grey of luma 126 of
// 16…235 is (126−16)/219 = 0.5023 of white, which means ((0.5023+0.0993)/1.0993)^(1/0.45) = 0.2619 (Recommendation ITU-R BT.709-6, items 1.2 and 3.4).
func TestFilmOfACamera(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	frame := append(bytes.Repeat([]byte{126}, 32*16), bytes.Repeat([]byte{128}, 2*16*8)...)
	s, got, _, err := laidFilm(t, shot(t, "camera.mp4", "yuv420p", bytes.Repeat(frame, 3), "-c:v", "libx264", "-qp", "0", "-color_trc", "bt709"))
	if err != nil {
		t.Fatal(err)
	}
	if s.Encoding != (encoding{encodingBT709, "the film says so"}) || len(got) != 3*32*16*6 {
		t.Fatalf("%+v, %d bytes", s, len(got))
	}
	for i := 0; i < len(got); i += 2 {
		if v := (float64(got[i]) + 256*float64(got[i+1])) / 65535; v < 0.2619-0.003 || v > 0.2619+0.003 { // a count of 255 is 0.0034 there
			t.Fatalf("sample %d is %.4f of white", i/2, v)
		}
	}
}

// TestVariableRate: every frame is taken once, however long it is shown.
func TestVariableRate(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	want := noise(6 * 32 * 16)
	path := shot(t, "steps.mkv", "gray", want, "-vf", "setpts=N*N*40/TB/1000", "-fps_mode", "passthrough", "-c:v", "ffv1")
	if _, got, _, err := laidFilm(t, path); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%d bytes of %d came (%v)", len(got), len(want), err)
	}
}

// TestFilmsThatAreNone: lists of other files open none of them, and a film cut short gives what there is.
func TestFilmsThatAreNone(t *testing.T) {
	outsidetest.Program(t, "ffmpeg")
	want := noise(20 * 32 * 16)
	film := shot(t, "film.mkv", "gray", want, "-c:v", "ffv1")
	dir := filepath.Dir(film)
	for name, text := range map[string]string{
		"a.m3u8":  "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nfilm.mkv\n#EXT-X-ENDLIST\n",
		"a.ffcat": "ffconcat version 1.0\nfile film.mkv\n",
		"a.mp4":   "#EXTM3U\n#EXTINF:1,\nfilm.mkv\n",
		"a.txt":   strings.Repeat("text that some take for pictures\n", 100),
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, _, err := laidFilm(t, path); err == nil || strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), dir) {
			t.Errorf("%s: error %v, want one line without the path", name, err)
		}
	}
	b, err := os.ReadFile(film)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(film, b[:len(b)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	_, got, _, err := laidFilm(t, film)
	if frame := 32 * 16; err != nil || len(got)%frame != 0 || len(got) < 5*frame || !bytes.HasPrefix(want, got[:5*frame]) {
		t.Errorf("half a film: %d bytes (%v)", len(got), err)
	}
}

// gives stands for a decoder that gives so many bytes.
type gives int

func (gives) Version(context.Context, string) (string, error) { return "", nil }

func (n gives) Run(_ context.Context, _ string, _ []string, out io.Writer) (string, error) {
	_, err := out.Write(make([]byte, n))
	return "", err
}

// TestPartOfAFrame: what is no whole frame at the end of a film is not passed over.
func TestPartOfAFrame(t *testing.T) {
	path := filepath.Join(t.TempDir(), "film.mkv")
	if err := os.WriteFile(path, []byte("film"), 0o600); err != nil {
		t.Fatal(err)
	}
	const frame = 32 * 16
	s := source{Width: 32, Height: 16, Planes: 1, Bits: 8, Encoding: encoding{Name: encodingLinear}}
	for n, want := range map[int]string{
		3 * frame:    "",
		3*frame + 17: "ffmpeg gave 17 bytes after 3 frames, and a frame has 512",
		frame/2 + 1:  "ffmpeg gave 257 bytes after 0 frames",
		4*frame - 1:  "ffmpeg gave 511 bytes after 3 frames",
	} {
		in := map[string][]any{"file": {pipelinetest.Film{Path: path, Programs: gives(n)}}, "source": {s}}
		_, err := pipelinetest.New().Run(t, layFilmPart(pipeline.Item{}, pipeline.Value{}, s, "ffmpeg"), in)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%d bytes: error %v, want %q", n, err, want)
		}
	}
}

// TestOldPrograms: a release that is too old is told before it is run; what is built between releases is tried.
func TestOldPrograms(t *testing.T) {
	for program, old := range map[string]bool{
		"ffmpeg version 4.4.2-0ubuntu0.22.04.1": true, "ffmpeg version n4.4": true, "ffmpeg version 5.0.1": true,
		"ffmpeg version 5.1.9-0+deb12u1": false, "ffmpeg version n7.1": false, "ffmpeg version 10.0": false,
		"ffmpeg version N-110000-gabcdef": false, "ffmpeg version 2021-03-01-git-1234": false, "": false,
	} {
		err := newEnough(program)
		if (err != nil) != old || old && !strings.Contains(err.Error(), program+" is too old to read it: install FFmpeg 5.1 or later") {
			t.Errorf("%q: %v", program, err)
		}
	}
}

// fails stands for a decoder that says why it fails.
type fails struct{ gives }

func (fails) Run(context.Context, string, []string, io.Writer) (string, error) {
	return "no such codec\n", errors.New("exit status 1")
}

// TestDecoderFails: what is told is what the program says, and not where its output was to go.
func TestDecoderFails(t *testing.T) {
	path := filepath.Join(t.TempDir(), "film.mkv")
	if err := os.WriteFile(path, []byte("film"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := source{Width: 32, Height: 16, Planes: 1, Bits: 8, Encoding: encoding{Name: encodingLinear}}
	in := map[string][]any{"file": {pipelinetest.Film{Path: path, Programs: fails{}}}, "source": {s}}
	_, err := pipelinetest.New().Run(t, layFilmPart(pipeline.Item{}, pipeline.Value{}, s, "ffmpeg 9"), in)
	if err == nil || strings.Contains(err.Error(), "store") || !strings.HasSuffix(err.Error(), "ffmpeg 9 cannot read it: no such codec") {
		t.Errorf("%v", err)
	}
}
