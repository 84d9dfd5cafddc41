package captures

import (
	"context"
	"errors"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/picture"
	"plenilune/steps/format/raw"
)

// source is what is known of a clip of pictures, or of a film, before its frames are decoded.
type source struct {
	Format   string   `json:"format"`
	Width    int      `json:"width"`
	Height   int      `json:"height"`
	Planes   int      `json:"planes"` // 1 or 3
	Bits     int      `json:"bits"`   // of a decoded sample: 8, 16, or 32 for float32
	Frames   int      `json:"frames"` // of a film: as its container tells, 0 if it does not
	Scale    float64  `json:"scale"`  // of float32 samples: by what they are multiplied
	Encoding encoding `json:"encoding"`

	// When it began, in Unix nanoseconds: UTC if Zoned, or else by its camera's clock; 0 if it does not say. Of pictures it is when the
	// first was taken that can be read, and of a film FrameS is how many seconds a frame lasts, 0 if unknown.
	Began  int64   `json:"began,omitempty"`
	Zoned  bool    `json:"zoned,omitempty"`
	FrameS float64 `json:"frame_s,omitempty"`

	// Of frames that are laid out as they stand in their files: how, and the bits that the files state.
	Plain *raw.Layout `json:"plain,omitempty"`
	Depth int         `json:"depth,omitempty"`
}

// sourceSettings are what varies it.
type sourceSettings struct {
	Encoding string
	Program  string // its version, for a film; else empty
}

// byClock tells a clip that says when it was taken, and not how its camera's clock stood to UTC.
func (s source) byClock() bool { return s.Began != 0 && !s.Zoned }

// laidBits is how many bits a sample has in the frames that are laid out.
func (s source) laidBits() int {
	if s.Plain != nil {
		return s.Depth
	}
	if s.Bits == 8 && s.Encoding.Name == encodingLinear {
		return 8
	}
	return 16
}

// layout is that of the frames that are laid out.
func (s source) layout() raw.Layout {
	if s.Plain != nil {
		return *s.Plain
	}
	l := raw.Layout{Width: s.Width, Height: s.Height, Planes: s.Planes, SampleBytes: s.laidBits() / 8, Pattern: raw.Mono}
	if s.Planes == 3 {
		l.Pattern = raw.RGB
	}
	l.Stride = l.FrameBytes()
	return l
}

// LaidFact is the fact that tells how many bytes a frame has that is laid out.
const LaidFact = "a frame laid out"

func (s source) state(t *pipeline.Task) {
	if s.Frames > 0 {
		t.Fact("frames", float64(s.Frames), "frames")
	}
	t.FactText("format", s.Format)
	t.Fact("width", float64(s.Width), "px")
	t.Fact("height", float64(s.Height), "px")
	t.FactText("pattern", s.layout().Pattern)
	t.Fact("bits a sample", float64(s.Bits), "bit")
	t.Fact(LaidFact, float64(s.layout().FrameBytes()), "bytes")
	t.FactText("encoding", s.Encoding.tell())
}

// picturesPart looks at the first picture that can be read.
func picturesPart(it pipeline.Item, port string, set sourceSettings) pipeline.Part {
	return pipeline.Part{
		Name: "picture", Item: it, Version: 4, Settings: set,
		In: []pipeline.Input{{Port: port, Value: it.Values[port]}}, Out: []string{"source"},
		Memory: 256 << 20, Run: pipeline.Bind(runPictures),
	}
}

func runPictures(ctx context.Context, set sourceSettings, t *pipeline.Task) error {
	pieces := clipOf(t).Pieces()
	for i := range pieces {
		if err := ctx.Err(); err != nil {
			return err
		}
		s, err := lookAtPicture(pieces[i], set)
		if err != nil && i < len(pieces)-1 && !errors.As(err, new(*scaleError)) && !errors.As(err, new(*mismatch)) {
			continue // told as a damaged frame when it is laid out
		}
		if err != nil {
			return err
		}
		s.Frames = len(pieces)
		s.state(t)
		return t.PutTable("source", s)
	}
	return errors.New("the sequence holds no picture")
}

// clipOf is the clip that a part is about.
func clipOf(t *pipeline.Task) pipeline.Source {
	if t.Has("pictures") {
		return t.One("pictures")
	}
	return t.One("file")
}

// scaleError says that nobody knows what floating-point samples mean.
type scaleError struct{ top float32 }

func (e *scaleError) Error() string {
	return fmt.Sprintf("floating-point samples up to %g: they should lie in 0…1 or 0…65535", e.top)
}

func lookAtPicture(piece pipeline.Piece, set sourceSettings) (source, error) {
	f, closer, err := piece.Open()
	if err != nil {
		return source{}, err
	}
	defer closer.Close()
	if isFITS(f) {
		return lookAtFITS(f)
	}
	p, err := picture.Open(f, f.Size())
	if err != nil {
		return source{}, err
	}
	s := source{Format: p.Kind, Width: p.Width, Height: p.Height, Planes: p.Channels, Bits: p.Bits, Encoding: encodingOf(set.Encoding, p)}
	taken := p.Taken()
	s.Began, s.Zoned = taken.UnixNS, taken.Zoned
	if err := p.Load(); err != nil {
		return s, err
	}
	if p.Bits == 32 {
		s.Scale, err = floatScale(p)
	}
	return s, err
}

// floatScale tells what floating-point samples stand for: shares of white, or counts of 16 bits.
func floatScale(p *picture.Picture) (float64, error) {
	row, top := make([]float32, p.Width*p.Channels), float32(0)
	for y := range p.Height {
		p.Row(y, row)
		for _, v := range row {
			if v > top && !math.IsInf(float64(v), 0) {
				top = v
			}
		}
	}
	switch raw.FloatWhite(float64(top)) {
	case 1:
		return 65535, nil
	case 65535:
		return 1, nil
	}
	return 0, &scaleError{top}
}
