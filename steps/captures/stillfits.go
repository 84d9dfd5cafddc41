package captures

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/fits"
	"plenilune/steps/format/raw"
)

// isFITS tells by its first bytes whether a picture is FITS.
func isFITS(f pipeline.File) bool {
	head := make([]byte, 16)
	n, _ := f.ReadAt(head, 0)
	return fits.Begins(head[:n])
}

// openFITS reads what a FITS file of one picture says of itself.
func openFITS(f pipeline.File) (*raw.Clip, error) {
	c, err := fits.OpenClip(f, f.Size())
	switch {
	case err != nil:
		return nil, fmt.Errorf("read as FITS: %w", err)
	case c.Declared > 1:
		return nil, &mismatch{fmt.Sprintf("holds %d frames, and the pictures of a sequence are one frame each: name it in files", c.Declared)}
	case c.Frames < 1:
		return nil, fmt.Errorf("read as FITS: it ends within its picture")
	}
	return c, nil
}

// lookAtFITS tells of a clip of FITS pictures by one of them. Samples are laid out as they stand in the files, whatever kind
// of number they are, and are read then as those of a FITS file of all the frames would be.
func lookAtFITS(f pipeline.File) (source, error) {
	c, err := openFITS(f)
	if err != nil {
		return source{}, err
	}
	l := c.Layout
	l.Offset, l.Stride, l.Runs = 0, l.Span(), nil
	return source{Format: "FITS", Width: l.Width, Height: l.Height, Planes: l.Planes, Bits: 8 * l.SampleBytes, Plain: &l, Depth: c.Depth,
		Encoding: encoding{encodingLinear, "FITS holds what the sensor gave"}}, nil
}

// plain reads the frame of one FITS picture as it stands, and when it was taken: in Unix nanoseconds, UTC, 0 if it does not say.
func (l *layer) plain(f pipeline.File, frame []byte) (taken int64, err error) {
	c, err := openFITS(f)
	if err != nil {
		return 0, err
	}
	if !fits.Alike(c.Layout, *l.s.Plain) {
		return 0, &mismatch{fmt.Sprintf("is %s, others are %s: the pictures of a clip must be alike", plainText(c.Layout), plainText(*l.s.Plain))}
	}
	if n, err := f.ReadAt(frame, c.Layout.Offset); n < len(frame) {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return 0, fmt.Errorf("read its samples at byte %d: %w", c.Layout.Offset, err)
	}
	if len(c.Times) > 0 {
		taken = c.Times[0]
	}
	return taken, nil
}

func plainText(l raw.Layout) string {
	out := fmt.Sprintf("%d×%d px, %s, %d bit", l.Width, l.Height, l.Pattern, 8*l.SampleBytes)
	if l.Kind == raw.Float {
		out += " floating-point"
	}
	if l.Zero != 0 || l.Scale != 0 {
		out += fmt.Sprintf(", %g and up", l.Zero)
	}
	if !l.BottomUp {
		out += ", from the top"
	}
	return out
}

// blacken fills a frame of big-endian numbers with what means 0 in them, or comes next to it.
func blacken(l raw.Layout, frame []byte) {
	v := -l.Zero
	if l.Scale != 0 {
		v /= l.Scale
	}
	one := make([]byte, 8)
	switch {
	case l.Kind == raw.Float && l.SampleBytes == 4:
		binary.BigEndian.PutUint32(one, math.Float32bits(float32(v)))
	case l.Kind == raw.Float:
		binary.BigEndian.PutUint64(one, math.Float64bits(v))
	case l.Kind == raw.Unsigned:
		one[0] = byte(max(0, min(255, math.Round(v))))
	default:
		half := float64(uint64(1) << (8*l.SampleBytes - 1))
		whole := int64(math.MaxInt64)
		if v = math.Round(v); v < half {
			whole = int64(max(-half, v))
		} else {
			whole >>= 64 - 8*l.SampleBytes
		}
		binary.BigEndian.PutUint64(one, uint64(whole)<<(64-8*l.SampleBytes))
	}
	for i := range frame {
		frame[i] = one[i%l.SampleBytes]
	}
}
