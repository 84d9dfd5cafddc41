// Package plane holds the picture type that every numeric package shares.
package plane

import "fmt"

// Image is a float32 picture of one or more channels. Pixel centres lie at
// integer coordinates, x to the right and y down; channel c's value at (x, y)
// is Pix[c][y*W+x]. A NaN is a pixel without data.
type Image struct {
	W, H int
	Pix  [][]float32 // one row-major slice of W*H values a channel
}

// New returns a picture of zeros, w by h pixels of c channels.
func New(w, h, c int) *Image {
	m := &Image{W: w, H: h, Pix: make([][]float32, c)}
	for i := range m.Pix {
		m.Pix[i] = make([]float32, w*h)
	}
	return m
}

// Of wraps channels that are w by h already; it panics if a length is wrong.
func Of(w, h int, pix ...[]float32) *Image {
	for i, p := range pix {
		if len(p) != w*h {
			panic(fmt.Sprintf("plane: channel %d has %d values, want %d×%d", i, len(p), w, h))
		}
	}
	return &Image{W: w, H: h, Pix: pix}
}

// Channels returns the number of channels.
func (m *Image) Channels() int { return len(m.Pix) }

// Row returns row y of channel c, sharing memory with the picture.
func (m *Image) Row(c, y int) []float32 { return m.Pix[c][y*m.W : (y+1)*m.W] }

// Clone returns a copy that shares nothing.
func (m *Image) Clone() *Image {
	n := New(m.W, m.H, len(m.Pix))
	for i := range m.Pix {
		copy(n.Pix[i], m.Pix[i])
	}
	return n
}

// Luminance returns the mean of the channels; for one channel, that channel itself.
func (m *Image) Luminance() []float32 {
	if len(m.Pix) == 1 {
		return m.Pix[0]
	}
	out := make([]float32, m.W*m.H)
	for _, p := range m.Pix {
		for i, v := range p {
			out[i] += v
		}
	}
	k := 1 / float32(len(m.Pix))
	for i := range out {
		out[i] *= k
	}
	return out
}
