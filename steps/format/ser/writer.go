package ser

import (
	"encoding/binary"
	"fmt"
	"io"
	"time"
)

// Writer writes a file frame by frame.
type Writer struct {
	w      io.Writer
	h      Header
	frames int
	buf    []byte
	order  binary.ByteOrder
}

// NewWriter writes the header and returns a writer of frames. Samples of more
// than 8 bits are written in the order that h.LittleFlag states literally. If w
// is an io.Seeker that stands at the file's beginning, Close corrects the
// header's frame count; otherwise h.Frames must be right from the start.
func NewWriter(w io.Writer, h Header) (*Writer, error) {
	if err := h.check(); err != nil {
		return nil, fmt.Errorf("write header: %w", err)
	}
	for _, s := range []string{h.Observer, h.Instrument, h.Telescope} {
		if len(s) > 40 {
			return nil, fmt.Errorf("write header: %q is longer than 40 bytes", s)
		}
	}
	if _, err := w.Write(h.bytes()); err != nil {
		return nil, fmt.Errorf("write header: %w", err)
	}
	sw := &Writer{w: w, h: h, order: binary.ByteOrder(binary.LittleEndian), buf: make([]byte, h.Layout().FrameBytes())}
	if h.LittleFlag == 0 {
		sw.order = binary.BigEndian
	}
	return sw, nil
}

// AddFrame writes one frame: width × height samples row by row, three a pixel in
// the file's order for RGB and BGR. Samples must fit the header's depth.
func (w *Writer) AddFrame(samples []uint16) error {
	l := w.h.Layout()
	if n := l.Width * l.Height * l.Planes; len(samples) != n {
		return fmt.Errorf("write frame %d: %d samples, want %d", w.frames, len(samples), n)
	}
	for i, v := range samples {
		if int(v)>>w.h.Depth != 0 {
			return fmt.Errorf("write frame %d: sample %d is %d, more than %d bits hold", w.frames, i, v, w.h.Depth)
		}
		if l.SampleBytes == 1 {
			w.buf[i] = byte(v)
		} else {
			w.order.PutUint16(w.buf[2*i:], v)
		}
	}
	if _, err := w.w.Write(w.buf); err != nil {
		return fmt.Errorf("write frame %d: %w", w.frames, err)
	}
	w.frames++
	return nil
}

// Close writes the trailer, unless times is nil, and the frame count. It does not
// close the underlying writer.
func (w *Writer) Close(times []time.Time) error {
	if times != nil && len(times) != w.frames {
		return fmt.Errorf("write trailer: %d times for %d frames", len(times), w.frames)
	}
	b := make([]byte, 0, 8*len(times))
	for _, t := range times {
		b = binary.LittleEndian.AppendUint64(b, uint64(TicksOf(t)))
	}
	if _, err := w.w.Write(b); err != nil {
		return fmt.Errorf("write trailer: %w", err)
	}
	if int(w.h.Frames) == w.frames {
		return nil
	}
	s, ok := w.w.(io.Seeker)
	if !ok {
		return fmt.Errorf("write frame count: the header declares %d frames, %d were written, and it cannot be changed", w.h.Frames, w.frames)
	}
	w.h.Frames = int32(w.frames)
	if _, err := s.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("write frame count: %w", err)
	}
	if _, err := w.w.Write(w.h.bytes()); err != nil {
		return fmt.Errorf("write frame count: %w", err)
	}
	if _, err := s.Seek(0, io.SeekEnd); err != nil {
		return fmt.Errorf("write frame count: %w", err)
	}
	return nil
}
