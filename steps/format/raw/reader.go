package raw

import (
	"fmt"
	"io"
	"sync"

	"plenilune/steps/kernel/lanes"
)

// Reader decodes single frames of a file. It may be used by several goroutines
// at once; each call borrows a buffer of one frame.
type Reader struct {
	r      io.ReaderAt
	l      Layout
	frames int64
	bufs   sync.Pool // *[]byte of FrameBytes
}

// NewReader returns a reader of a file of size bytes. A file that holds no whole
// frame is accepted: it has zero frames.
func NewReader(r io.ReaderAt, size int64, l Layout) (*Reader, error) {
	if err := l.Check(); err != nil {
		return nil, fmt.Errorf("layout of frames: %w", err)
	}
	return &Reader{r: r, l: l, frames: l.Frames(size)}, nil
}

// Layout returns the layout that the reader was made with.
func (r *Reader) Layout() Layout { return r.l }

// Bytes reads frame i, as it lies in the file, into dst of at least FrameBytes.
func (r *Reader) Bytes(i int, dst []byte) error {
	if i < 0 || int64(i) >= r.frames {
		return fmt.Errorf("read frame %d: the file holds frames 0…%d", i, r.frames-1)
	}
	at, n := r.l.Offset+int64(i)*r.l.Stride, r.l.FrameBytes()
	if k, err := r.r.ReadAt(dst[:n], at); int64(k) < n {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return fmt.Errorf("read frame %d at byte %d: %w", i, at, err)
	}
	return nil
}

// Frame decodes frame i into dst, one row-major slice of Width·Height values a
// plane; for BGR, dst is still red, green, blue. Values are samples divided by
// white, so 1 is the clip's white level; they are not clipped.
func (r *Reader) Frame(i int, white float64, dst [][]float32) error {
	buf, _ := r.bufs.Get().(*[]byte)
	if buf == nil {
		b := make([]byte, r.l.FrameBytes())
		buf = &b
	}
	defer r.bufs.Put(buf)
	return r.FrameBy(*buf, i, white, dst)
}

// FrameBy is Frame by way of a buffer of at least FrameBytes, which then holds the
// frame as Bytes reads it.
func (r *Reader) FrameBy(buf []byte, i int, white float64, dst [][]float32) error {
	n := r.l.Width * r.l.Height
	if len(dst) != r.l.Planes {
		return fmt.Errorf("read frame %d: %d planes given for %d", i, len(dst), r.l.Planes)
	}
	for _, d := range dst {
		if len(d) < n {
			return fmt.Errorf("read frame %d: room for %d px of %d", i, len(d), n)
		}
	}
	if !(white > 0) {
		return fmt.Errorf("read frame %d: white level %v must be positive", i, white)
	}
	if err := r.Bytes(i, buf); err != nil {
		return err
	}
	for c := range dst {
		from := c
		if r.l.Pattern == BGR {
			from = r.l.Planes - 1 - c
		}
		r.l.decode(buf, from, float32(white), dst[c][:n])
	}
	return nil
}

// decode takes every Planes-th sample of b, beginning at sample from.
func (l Layout) decode(b []byte, from int, white float32, dst []float32) {
	switch {
	case l.SampleBytes == 1 && l.Planes == 1:
		lanes.Bytes8(dst, b, white)
		return
	case l.SampleBytes == 1:
		for i := range dst {
			dst[i] = float32(b[from+i*l.Planes]) / white
		}
		return
	case l.Planes == 1:
		lanes.Bytes16(dst, b, l.BigEndian, white)
		return
	}
	lo, hi := 2*from, 2*from+1
	if l.BigEndian {
		lo, hi = hi, lo
	}
	step := 2 * l.Planes
	for i := range dst {
		dst[i] = float32(uint16(b[lo])|uint16(b[hi])<<8) / white
		lo, hi = lo+step, hi+step
	}
}
