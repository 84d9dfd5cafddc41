package png

import (
	"image"
	"image/color"
	"image/png"
	"io"
)

// Rows is a picture that is made row by row, so that none is held whole.
type Rows struct {
	W, H     int
	Channels int // 1 or 3
	Bits     int // 8 or 16
	// Row fills dst with row y, Channels samples a pixel. It is called for y = 0, 1, … once each.
	Row func(y int, dst []uint16) error
}

// headEnd is where the first chunk, IHDR, ends.
const headEnd = len(signature) + 12 + 13

// Encode writes a picture with chunks between IHDR and the data. Equal pictures
// give equal bytes.
func Encode(w io.Writer, p Rows, chunks ...Chunk) error {
	img := &rowImage{p: p, y: -1, buf: make([]uint16, p.W*p.Channels)}
	var between []byte
	for _, c := range chunks {
		between = c.append(between)
	}
	// BestSpeed: on pictures with grain it is 1 to 6 % larger and, in colour, three times as fast.
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	err := enc.Encode(&inserter{w: w, left: headEnd, between: between}, img)
	if img.err != nil {
		return img.err
	}
	return err
}

// inserter passes bytes on and puts some between after the first few.
type inserter struct {
	w       io.Writer
	left    int
	between []byte
}

func (s *inserter) Write(b []byte) (int, error) {
	if s.left == 0 {
		return s.w.Write(b)
	}
	k := min(s.left, len(b))
	n, err := s.w.Write(b[:k])
	if s.left -= n; err != nil || s.left > 0 {
		return n, err
	}
	if _, err := s.w.Write(s.between); err != nil || k == len(b) {
		return n, err
	}
	m, err := s.w.Write(b[k:])
	return n + m, err
}

// rowImage shows image/png one row at a time; it walks rows in order, once.
type rowImage struct {
	p   Rows
	y   int
	buf []uint16
	err error
}

func (m *rowImage) Bounds() image.Rectangle { return image.Rect(0, 0, m.p.W, m.p.H) }

// Opaque keeps image/png from walking all pixels to find out.
func (m *rowImage) Opaque() bool { return true }

func (m *rowImage) ColorModel() color.Model {
	switch {
	case m.p.Channels == 1 && m.p.Bits == 8:
		return color.GrayModel
	case m.p.Channels == 1:
		return color.Gray16Model
	case m.p.Bits == 8:
		return color.RGBAModel
	}
	return color.RGBA64Model
}

func (m *rowImage) At(x, y int) color.Color {
	if y != m.y {
		m.y = y
		if m.err == nil {
			m.err = m.p.Row(y, m.buf)
		}
	}
	i := x * m.p.Channels
	switch {
	case m.p.Channels == 1 && m.p.Bits == 8:
		return color.Gray{Y: uint8(m.buf[i])}
	case m.p.Channels == 1:
		return color.Gray16{Y: m.buf[i]}
	case m.p.Bits == 8:
		return color.RGBA{R: uint8(m.buf[i]), G: uint8(m.buf[i+1]), B: uint8(m.buf[i+2]), A: 255}
	}
	return color.RGBA64{R: m.buf[i], G: m.buf[i+1], B: m.buf[i+2], A: 65535}
}
