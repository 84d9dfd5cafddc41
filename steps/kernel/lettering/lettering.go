// Package lettering draws short texts as masks of ink, the same on every machine. Its typeface is Go (Bigelow & Holmes 2016,
// released under the licence of the Go project).
package lettering

import (
	"fmt"
	"image"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Style is how letters stand.
type Style int

// The styles: maps set the names of seas slanted.
const (
	Upright Style = iota
	Slanted
)

// MostPx is the largest size of letters: beyond it outlines would be filled in another way, by floating point.
const MostPx = 400

var fonts = sync.OnceValue(func() (out [2]*sfnt.Font) {
	for i, b := range [2][]byte{goregular.TTF, goitalic.TTF} {
		f, err := opentype.Parse(b)
		if err != nil {
			panic(fmt.Sprintf("lettering: the typeface that is part of the program: %v", err)) // a test reads it
		}
		out[i] = f
	}
	return out
})

// Mask is ink, 0…255, row by row. X and Y are where its first pixel lies from the place at which the text begins on its baseline.
type Mask struct {
	X, Y, W, H int
	Ink        []uint8
}

// Draw returns a text of a size, in pixels from line to line, at most MostPx. A text without ink gives an empty mask.
func Draw(text string, s Style, px float64) Mask {
	f := face(s, px)
	defer f.Close()
	b, _ := font.BoundString(f, text)
	r := image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil())
	m := Mask{r.Min.X, r.Min.Y, r.Dx(), r.Dy(), make([]uint8, r.Dx()*r.Dy())}
	if r.Empty() {
		return m
	}
	d := font.Drawer{Dst: &image.Alpha{Pix: m.Ink, Stride: m.W, Rect: r}, Src: image.Opaque, Face: f, Dot: fixed.Point26_6{}}
	d.DrawString(text)
	return m
}

func face(s Style, px float64) font.Face {
	f, err := opentype.NewFace(fonts()[s], &opentype.FaceOptions{Size: min(px, MostPx), DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic(fmt.Sprintf("lettering: letters of %g px: %v", px, err)) // the options leave nothing that can fail
	}
	return f
}

// Halo returns the ink grown by r pixels in all directions and softened at its edge: what is laid under letters to set them off.
func (m Mask) Halo(r int) Mask {
	if r <= 0 || m.W*m.H == 0 {
		return m
	}
	grown := m.padded(2 * r)
	out := grown
	out.Ink = make([]uint8, len(grown.Ink))
	for y := range grown.H {
		for x := range grown.W {
			out.Ink[y*grown.W+x] = grown.darkest(x, y, r)
		}
	}
	return out.softened((r + 1) / 2)
}

func (m Mask) padded(n int) Mask {
	p := Mask{m.X - n, m.Y - n, m.W + 2*n, m.H + 2*n, nil}
	p.Ink = make([]uint8, p.W*p.H)
	for y := range m.H {
		copy(p.Ink[(y+n)*p.W+n:], m.Ink[y*m.W:(y+1)*m.W])
	}
	return p
}

// darkest is the most ink within r pixels.
func (m Mask) darkest(x, y, r int) (most uint8) {
	for dy := -r; dy <= r; dy++ {
		if y+dy < 0 || y+dy >= m.H {
			continue
		}
		for dx := -r; dx <= r; dx++ {
			if x+dx >= 0 && x+dx < m.W && dx*dx+dy*dy <= r*r {
				most = max(most, m.Ink[(y+dy)*m.W+x+dx])
			}
		}
	}
	return most
}

// softened is the mean over squares of 2r+1 pixels.
func (m Mask) softened(r int) Mask {
	n := 2*r + 1
	rows, out := make([]int, len(m.Ink)), m
	out.Ink = make([]uint8, len(m.Ink))
	for y := range m.H {
		sum := 0
		for x := -r; x < m.W; x++ {
			if x+r < m.W {
				sum += int(m.Ink[y*m.W+x+r])
			}
			if x-r-1 >= 0 {
				sum -= int(m.Ink[y*m.W+x-r-1])
			}
			if x >= 0 {
				rows[y*m.W+x] = sum
			}
		}
	}
	for x := range m.W {
		sum := 0
		for y := -r; y < m.H; y++ {
			if y+r < m.H {
				sum += rows[(y+r)*m.W+x]
			}
			if y-r-1 >= 0 {
				sum -= rows[(y-r-1)*m.W+x]
			}
			if y >= 0 {
				out.Ink[y*m.W+x] = uint8(sum / (n * n))
			}
		}
	}
	return out
}
