// Package fourier transforms pictures and finds displacements by correlation.
package fourier

import (
	"fmt"
	"sync"
)

// Good returns the smallest number not below n whose only prime factors are 2, 3
// and 5: the sizes that a Plan takes.
func Good(n int) int {
	for n = max(n, 1); !smooth(n); n++ {
	}
	return n
}

func smooth(n int) bool {
	for _, p := range []int{2, 3, 5} {
		for n%p == 0 {
			n /= p
		}
	}
	return n == 1
}

// lanes is how many rows or columns are transformed side by side, so that every
// inner loop runs over neighbouring memory.
const lanes = 16

// Plan holds what transforms of w by h pixels share. It is safe for concurrent use.
type Plan struct {
	w, h    int
	x, y    *line
	scratch sync.Pool
}

type buffers struct{ ar, ai, br, bi []float32 }

// New prepares transforms of w by h pixels. It panics if a side is not Good.
func New(w, h int) *Plan {
	if w < 1 || h < 1 || !smooth(w) || !smooth(h) {
		panic(fmt.Sprintf("fourier: %d×%d: the sides must have no prime factor above 5", w, h))
	}
	p := &Plan{w: w, h: h, x: newLine(w), y: newLine(h)}
	n := lanes * max(w, h)
	p.scratch.New = func() any {
		return &buffers{make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
	}
	return p
}

// Size returns the width and the height.
func (p *Plan) Size() (w, h int) { return p.w, p.h }

// Forward transforms in place: F(u,v) = Σ f(x,y)·exp(−2πi(ux/w + vy/h)), row-major.
func (p *Plan) Forward(re, im []float32) {
	p.rows(re, im)
	p.columns(re, im)
}

// Inverse undoes Forward in place, with the factor 1/(w·h).
func (p *Plan) Inverse(re, im []float32) {
	// Exchanging the parts before and after turns the sign of the exponent.
	p.rows(im, re)
	p.columns(im, re)
	k := 1 / float32(p.w*p.h)
	for i := range re[:p.w*p.h] {
		re[i] *= k
		im[i] *= k
	}
}

func (p *Plan) rows(re, im []float32) {
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	w := p.w
	for y0 := 0; y0 < p.h; y0 += lanes {
		n := min(lanes, p.h-y0)
		for j := range n {
			r, i := re[(y0+j)*w:(y0+j+1)*w], im[(y0+j)*w:(y0+j+1)*w]
			for x := range w {
				b.ar[x*n+j], b.ai[x*n+j] = r[x], i[x]
			}
		}
		or, oi := p.x.run(b, n)
		for j := range n {
			r, i := re[(y0+j)*w:(y0+j+1)*w], im[(y0+j)*w:(y0+j+1)*w]
			for x := range w {
				r[x], i[x] = or[x*n+j], oi[x*n+j]
			}
		}
	}
}

func (p *Plan) columns(re, im []float32) {
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	w := p.w
	for x0 := 0; x0 < w; x0 += lanes {
		n := min(lanes, w-x0)
		for y := range p.h {
			copy(b.ar[y*n:(y+1)*n], re[y*w+x0:y*w+x0+n])
			copy(b.ai[y*n:(y+1)*n], im[y*w+x0:y*w+x0+n])
		}
		or, oi := p.y.run(b, n)
		for y := range p.h {
			copy(re[y*w+x0:y*w+x0+n], or[y*n:(y+1)*n])
			copy(im[y*w+x0:y*w+x0+n], oi[y*n:(y+1)*n])
		}
	}
}
