// Package fourier transforms pictures and finds displacements by correlation.
package fourier

import (
	"fmt"
	"sync"
)

// Good returns the smallest number not below n whose only prime factors are 2, 3
// and 5: the sizes that are transformed fast.
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

// Plan holds what transforms of w by h pixels share. It is safe for concurrent
// use. Any size will do; one that is Good is faster.
type Plan struct {
	w, h    int
	x, y    *line
	scratch sync.Pool
}

type buffers struct{ a, b []cell }

// New prepares transforms of w by h pixels.
func New(w, h int) *Plan {
	if w < 1 || h < 1 {
		panic(fmt.Sprintf("fourier: a transform of %d×%d pixels", w, h))
	}
	p := &Plan{w: w, h: h, x: newLine(w), y: newLine(h)}
	n := max(w, h)
	p.scratch.New = func() any {
		return &buffers{make([]cell, n), make([]cell, n)}
	}
	return p
}

// Size returns the width and the height.
func (p *Plan) Size() (w, h int) { return p.w, p.h }

// Forward transforms in place: F(u,v) = Σ f(x,y)·exp(−2πi(ux/w + vy/h)), row-major.
func (p *Plan) Forward(re, im []float32) {
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	p.rows(b, re, im, 1)
	p.columns(b, re, im, p.w)
}

// Inverse undoes Forward in place, with the factor 1/(w·h).
func (p *Plan) Inverse(re, im []float32) {
	b := p.scratch.Get().(*buffers)
	defer p.scratch.Put(b)
	// Exchanging the parts before and after turns the sign of the exponent.
	p.columns(b, im, re, p.w)
	p.rows(b, im, re, 1/float32(p.w*p.h))
}

// rows transforms every row and multiplies it by scale.
func (p *Plan) rows(b *buffers, re, im []float32, scale float32) {
	w := p.w
	for y := 0; y < p.h; y += lanes {
		n := min(lanes, p.h-y)
		gather(b.a[:w], re[y*w:], 0, w, n)
		gather(b.a[:w], im[y*w:], lanes, w, n)
		out := p.x.run(b.a[:w], b.b[:w])
		scatter(re[y*w:], out, 0, w, n, scale)
		scatter(im[y*w:], out, lanes, w, n, scale)
	}
}

// gather lays n rows, stride apart, side by side into the lanes of c from at on.
// The lanes beyond n keep what they held.
func gather(c []cell, rows []float32, at, stride, n int) {
	for j := range n {
		row := rows[j*stride:][:len(c)]
		l := at + j
		for x := range c {
			c[x][l] = row[x]
		}
	}
}

// scatter is the way back, times scale.
func scatter(rows []float32, c []cell, at, stride, n int, scale float32) {
	for j := range n {
		row := rows[j*stride:][:len(c)]
		l := at + j
		for x := range c {
			row[x] = c[x][l] * scale
		}
	}
}

// columns transforms every column of planes that are w wide.
func (p *Plan) columns(b *buffers, re, im []float32, w int) {
	h := p.h
	in := b.a[:h]
	for x := 0; x < w; x += lanes {
		if w-x >= lanes {
			for y := range in {
				c, at := &in[y], y*w+x
				*(*[lanes]float32)(c[:lanes]) = [lanes]float32(re[at : at+lanes])
				*(*[lanes]float32)(c[lanes:]) = [lanes]float32(im[at : at+lanes])
			}
			for y, c := range p.y.run(in, b.b[:h]) {
				at := y*w + x
				*(*[lanes]float32)(re[at:]) = [lanes]float32(c[:lanes])
				*(*[lanes]float32)(im[at:]) = [lanes]float32(c[lanes:])
			}
			continue
		}
		n := w - x
		for y := range in {
			copy(in[y][:n], re[y*w+x:])
			copy(in[y][lanes:lanes+n], im[y*w+x:])
		}
		out := p.y.run(in, b.b[:h])
		for y := range out {
			copy(re[y*w+x:], out[y][:n])
			copy(im[y*w+x:], out[y][lanes:lanes+n])
		}
	}
}
