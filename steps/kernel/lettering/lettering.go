// Package lettering draws short texts as masks of ink, the same on every machine. Its typeface is Go (Bigelow & Holmes 2016,
// released under the licence of the Go project).
package lettering

import (
	"fmt"
	"image"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Style is how letters stand.
type Style int

// The styles: maps set the names of seas slanted, sheets their titles bold.
const (
	Upright Style = iota
	Slanted
	Bold
)

// MostPx is the largest size of letters: beyond it outlines would be filled in another way, by floating point.
const MostPx = 400

var fonts = sync.OnceValue(func() (out [3]*sfnt.Font) {
	for i, b := range [3][]byte{goregular.TTF, goitalic.TTF, gobold.TTF} {
		f, err := sfnt.Parse(b)
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

// Width returns how far a text of a size leads on, in pixels, rounded up.
func Width(text string, s Style, px float64) int {
	f := face(s, px)
	return font.MeasureString(f, text).Ceil()
}

func face(s Style, px float64) font.Face {
	return &outlines{font: fonts()[s], scale: fixed.Int26_6(0.5 + float64(min(px, MostPx)*64))}
}

// Halo returns the ink grown by r pixels in all directions and softened at its edge: what is laid under letters to set them off.
func (m Mask) Halo(r int) Mask {
	if r <= 0 || m.W*m.H == 0 {
		return m
	}
	return m.padded(2 * r).grown(r).softened((r + 1) / 2)
}

func (m Mask) padded(n int) Mask {
	p := Mask{m.X - n, m.Y - n, m.W + 2*n, m.H + 2*n, nil}
	p.Ink = make([]uint8, p.W*p.H)
	for y := range m.H {
		copy(p.Ink[(y+n)*p.W+n:], m.Ink[y*m.W:(y+1)*m.W])
	}
	return p
}

// grown gives each pixel the most ink within r pixels.
func (m Mask) grown(r int) Mask {
	out := m
	out.Ink = make([]uint8, len(m.Ink))
	wide := append([]uint8{}, m.Ink...) // the most ink within reach pixels to the left and right
	next := make([]uint8, len(m.Ink))
	for reach := range r + 1 {
		for dy := -r; dy <= r; dy++ {
			if dy*dy+reach*reach <= r*r && dy*dy+(reach+1)*(reach+1) > r*r { // rows so far off see so wide
				out.over(wide, dy)
			}
		}
		for y := range m.H {
			row, to := wide[y*m.W:(y+1)*m.W], next[y*m.W:(y+1)*m.W]
			for x, v := range row {
				to[x] = max(v, row[max(0, x-1)], row[min(m.W-1, x+1)])
			}
		}
		wide, next = next, wide
	}
	return out
}

// over lays rows of ink, moved up by dy, over a mask: the more of both.
func (m Mask) over(ink []uint8, dy int) {
	for y := max(0, -dy); y < min(m.H, m.H-dy); y++ {
		from, to := ink[(y+dy)*m.W:(y+dy+1)*m.W], m.Ink[y*m.W:(y+1)*m.W]
		for x, v := range from {
			to[x] = max(to[x], v)
		}
	}
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
