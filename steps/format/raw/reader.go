package raw

import (
	"fmt"
	"io"
	"sync"
)

// Reader decodes single frames of a file. It may be used by several goroutines
// at once; each call borrows a buffer of one frame.
type Reader struct {
	r      io.ReaderAt
	l      Layout
	frames int64
	bufs   sync.Pool // *[]byte of FrameBytes
	spans  sync.Pool // *[]byte of Span, where that is more
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

// borrow takes a buffer of n bytes from a pool.
func borrow(p *sync.Pool, n int64) *[]byte {
	if b, _ := p.Get().(*[]byte); b != nil {
		return b
	}
	b := make([]byte, n)
	return &b
}

// Bytes reads the samples of frame i into dst of at least FrameBytes, the highest
// row first, nothing between rows; else as they lie in the file.
func (r *Reader) Bytes(i int, dst []byte) error {
	if i < 0 || int64(i) >= r.frames {
		return fmt.Errorf("read frame %d: the file holds frames 0…%d", i, r.frames-1)
	}
	at, n, span := r.l.at(int64(i)), r.l.FrameBytes(), r.l.Span()
	if n == span {
		if err := r.read(i, dst[:n], at); err != nil {
			return err
		}
		r.l.upright(dst[:n])
		return nil
	}
	b := borrow(&r.spans, span)
	defer r.spans.Put(b)
	if err := r.read(i, *b, at); err != nil {
		return err
	}
	r.l.pack(dst[:n], *b)
	return nil
}

func (r *Reader) read(i int, dst []byte, at int64) error {
	if k, err := r.r.ReadAt(dst, at); k < len(dst) {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return fmt.Errorf("read frame %d at byte %d: %w", i, at, err)
	}
	return nil
}

// Frame decodes frame i into dst, one row-major slice of Width·Height values a
// plane, the highest row first; for BGR, dst is still red, green, blue. Values are
// what samples mean divided by white, so 1 is the clip's white level; they are not
// clipped. What is no number is 0.
func (r *Reader) Frame(i int, white float64, dst [][]float32) error {
	if i < 0 || int64(i) >= r.frames {
		return fmt.Errorf("read frame %d: the file holds frames 0…%d", i, r.frames-1)
	}
	b := borrow(&r.bufs, r.l.FrameBytes())
	defer r.bufs.Put(b)
	return r.FrameBy(*b, i, white, dst)
}

// FrameBy is Frame by way of a buffer of at least FrameBytes, which then holds the
// frame's samples: equal ones for equal frames.
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
	r.l.unfold(buf[:r.l.FrameBytes()])
	for c := range dst {
		r.l.decode(buf, c, float32(white), dst[c][:n])
	}
	return nil
}
