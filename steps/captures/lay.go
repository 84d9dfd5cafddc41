package captures

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/picture"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/tiff"
)

// laid tells how the frames lie that were laid out: one after the other, without anything between, the smaller byte of a
// sample first.
type laid struct {
	Format  string     `json:"format"` // what they came from, for people
	Layout  raw.Layout `json:"layout"`
	Bits    int        `json:"bits"` // a sample
	Frames  int        `json:"frames"`
	Damaged []int      `json:"damaged"` // numbers of those that could not be read, and are black

	Times []int64 `json:"times_unix_ns,omitempty"` // of each frame, UTC, 0 where unknown; none if all are
	Clock []int64 `json:"clock_unix_ns,omitempty"` // the same by a camera's clock, of those that do not say how it stands to UTC
}

// clip is a clip that was laid out as if a file of it had been opened.
func (l laid) clip() *raw.Clip {
	c := &raw.Clip{Format: l.Format, Layout: l.Layout, Depth: l.Bits, Frames: l.Frames, Declared: int64(l.Frames), Times: l.Times}
	if c.Start = firstOf(l.Times); c.Start != 0 {
		c.TimeSource = "header"
	}
	return c
}

// layPart decodes the pictures of a clip, once, into plain frames.
func layPart(it pipeline.Item, port string, src pipeline.Value, s source) pipeline.Part {
	return pipeline.Part{
		Name: "lay", Item: it, Version: 2,
		In:  []pipeline.Input{{Port: port, Value: it.Values[port]}, {Port: "source", Value: src}},
		Out: []string{"file", "laid"}, StandIn: "file",
		Memory: int64(picturesAtOnce(s)) * 8 * s.layout().FrameBytes(), Run: runLay,
	}
}

// picturesAtOnce is how many pictures are decoded side by side: as many as 64 MiB of frames hold, up to four.
func picturesAtOnce(s source) int {
	return int(max(1, min(4, 64<<20/max(1, s.layout().FrameBytes()))))
}

// mostDamaged is how many damaged frames are named.
const mostDamaged = 8

func runLay(ctx context.Context, t *pipeline.Task) error {
	var s source
	if err := t.One("source").Table(&s); err != nil {
		return err
	}
	clip := clipOf(t)
	l := layer{s: s, out: laid{Format: s.Format, Layout: s.layout(), Bits: s.laidBits(), Damaged: []int{}}}
	if s.Plain == nil && s.Bits < 32 {
		l.table = linearTable(s.Encoding.Name, s.Bits)
	}
	err := t.PutBytes("file", func(w io.Writer) error { return l.pictures(ctx, t, clip, w) })
	if err != nil {
		return err
	}
	t.Fact("frames laid out", float64(l.out.Frames), "frames")
	t.Fact("frames damaged", float64(len(l.out.Damaged)), "frames")
	t.FactText("encoding", s.Encoding.tell())
	if l.clipped > 0 {
		t.Warn("clip-clipped", "%s: %d samples lie outside what 16 bits hold, and were clipped", pipeline.ClipName(clip.ID()), l.clipped)
	}
	return t.PutTable("laid", l.out)
}

// layer lays frames out.
type layer struct {
	s       source
	table   []uint16 // light of 65,535, by sample
	out     laid
	clipped int
}

// mismatch says that a picture is not like the first: that is no damage, but another clip's picture.
type mismatch struct{ text string }

func (e *mismatch) Error() string { return e.text }

// pictures decodes all pictures, some at once, and writes their frames in order.
func (l *layer) pictures(ctx context.Context, t *pipeline.Task, clip pipeline.Source, w io.Writer) error {
	pieces := clip.Pieces()
	at := picturesAtOnce(l.s)
	frames, got := make([][]byte, at), make([]decoded, at)
	for i := range frames {
		frames[i] = make([]byte, l.out.Layout.FrameBytes())
	}
	for from := 0; from < len(pieces); from += at {
		n := min(at, len(pieces)-from)
		if err := t.Each(ctx, n, func(k int) error {
			got[k] = l.picture(pieces[from+k], frames[k])
			return nil
		}); err != nil {
			return err
		}
		for k := range n {
			if err := l.judge(t, clip, from+k, got[k].fault, frames[k]); err != nil {
				return err
			}
			l.clipped += got[k].clipped
			l.out.note(got[k].taken)
			if _, err := w.Write(frames[k]); err != nil {
				return err
			}
			l.out.Frames++
		}
		t.Progress(float64(from+n) / float64(len(pieces)))
	}
	if len(l.out.Damaged) == len(pieces) {
		return errors.New("none of its pictures can be read")
	}
	l.out.leaveEmpty()
	return nil
}

// judge makes a picture that cannot be read a black frame, which no stack uses.
func (l *layer) judge(t *pipeline.Task, clip pipeline.Source, i int, fault error, frame []byte) error {
	name := pipeline.PictureName(clip.ID(), i)
	var other *mismatch
	switch {
	case fault == nil:
		return nil
	case errors.As(fault, &other):
		return fmt.Errorf("%s %w", name, fault)
	}
	if clear(frame); l.s.Plain != nil {
		blacken(*l.s.Plain, frame)
	}
	l.out.Damaged = append(l.out.Damaged, i)
	if n := len(l.out.Damaged); n <= mostDamaged {
		t.Warn("frame-damaged", "%s: frame %d, counted from 0, cannot be read and is left out: %v", name, i, fault)
	} else if n == mostDamaged+1 {
		t.Warn("frame-damaged", "%s: more pictures than these cannot be read; frames damaged, among what run --json tells, counts them", pipeline.ClipName(clip.ID()))
	}
	return nil
}

// note adds when the next frame was taken.
func (l *laid) note(m tiff.Moment) {
	utc, clock := m.UnixNS, int64(0)
	if !m.Zoned {
		utc, clock = 0, m.UnixNS
	}
	l.Times, l.Clock = append(l.Times, utc), append(l.Clock, clock)
}

// leaveEmpty leaves out tables of times that are all unknown.
func (l *laid) leaveEmpty() {
	if firstOf(l.Times) == 0 {
		l.Times = nil
	}
	if firstOf(l.Clock) == 0 {
		l.Clock = nil
	}
}

// decoded is what came of one picture.
type decoded struct {
	taken   tiff.Moment
	clipped int // samples
	fault   error
}

// picture decodes one picture into a frame.
func (l *layer) picture(piece pipeline.Piece, frame []byte) (out decoded) {
	f, closer, err := piece.Open()
	if err != nil {
		return decoded{fault: err}
	}
	defer closer.Close()
	if l.s.Plain != nil {
		out.taken.UnixNS, out.fault = l.plain(f, frame)
		out.taken.Zoned = true
	} else {
		out.taken, out.clipped, out.fault = l.decode(f, frame)
	}
	return out
}

// decode makes samples of a picture plain numbers, and tells when it says it was taken.
func (l *layer) decode(f pipeline.File, frame []byte) (taken tiff.Moment, clipped int, err error) {
	p, err := picture.Open(f, f.Size())
	if err != nil {
		return taken, 0, err
	}
	if p.Width != l.s.Width || p.Height != l.s.Height || p.Channels != l.s.Planes || p.Bits != l.s.Bits {
		return taken, 0, &mismatch{fmt.Sprintf("is %s, others are %s: the pictures of a clip must be alike",
			pictureText(p.Width, p.Height, p.Channels, p.Bits), pictureText(l.s.Width, l.s.Height, l.s.Planes, l.s.Bits))}
	}
	if err := p.Load(); err != nil {
		return taken, 0, err
	}
	row := make([]float32, p.Width*p.Channels)
	n := len(row) * l.out.Bits / 8
	for y := range p.Height {
		p.Row(y, row)
		clipped += l.row(frame[y*n:][:n], row)
	}
	return p.Taken(), clipped, nil
}

func pictureText(w, h, channels, bits int) string {
	kind := "grey"
	if channels == 3 {
		kind = "RGB"
	}
	return fmt.Sprintf("%d×%d px, %s, %d bit", w, h, kind, bits)
}

// row lays a row of samples out, and returns how many were clipped.
func (l *layer) row(dst []byte, row []float32) (clipped int) {
	if l.out.Bits == 8 {
		for i, v := range row {
			dst[i] = byte(v)
		}
		return 0
	}
	for i, v := range row {
		var u uint16
		if l.table != nil {
			u = l.table[int(v)]
		} else {
			var ok bool
			if u, ok = l.float(v); !ok {
				clipped++
			}
		}
		binary.LittleEndian.PutUint16(dst[2*i:], u)
	}
	return clipped
}

// float turns a floating-point sample into a count of 16 bits.
func (l *layer) float(v float32) (u uint16, ok bool) {
	x := math.Round(float64(float64(v) * l.s.Scale))
	if l.s.Encoding.Name != encodingLinear && x > 0 && x <= 65535 {
		x = math.Round(float64(65535 * light(l.s.Encoding.Name, x/65535)))
	}
	switch {
	case x >= 0 && x <= 65535:
		return uint16(x), true
	case x > 65535:
		return 65535, false
	}
	return 0, false // NaN, too
}
