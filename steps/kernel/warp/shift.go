package warp

import (
	"math"

	"plenilune/steps/kernel/plane"
)

// shifter resamples by a pure translation: the taps are the same everywhere (and
// exact, not from a table), so a row of the source is filtered once along x and
// then takes part in several rows of the result.
type shifter struct {
	sampler
	dx, dy float64
	// first and end bound the columns whose kernel lies in the picture.
	first, end int
	ring       [6][]float32 // source row r, filtered, is at r mod taps
	held       [6]int       // which row that is
}

// shiftRows is ResampleRows for a pure translation.
func shiftRows(dst, src *plane.Image, dx, dy float64, k Kernel, y0, y1 int) {
	if !(math.Abs(dx) < 1<<30 && math.Abs(dy) < 1<<30) {
		for _, p := range dst.Pix {
			fill(p[y0*dst.W:y1*dst.W], nan)
		}
		return
	}
	if dx == math.Floor(dx) && dy == math.Floor(dy) {
		copyRows(dst, src, int(dx), int(dy), y0, y1)
		return
	}
	s := newShifter(dst.W, src, dx, dy, k)
	for c := range dst.Pix {
		s.forget()
		for y := y0; y < y1; y++ {
			s.row(dst.Row(c, y), src.Pix[c], y)
		}
	}
}

// copyRows is the shift by whole pixels: no arithmetic, no loss.
func copyRows(dst, src *plane.Image, dx, dy, y0, y1 int) {
	lo := min(max(0, -dx), dst.W)
	hi := max(min(dst.W, src.W-dx), lo)
	for c := range dst.Pix {
		for y := y0; y < y1; y++ {
			out := dst.Row(c, y)
			if y+dy < 0 || y+dy >= src.H {
				fill(out, nan)
				continue
			}
			fill(out[:lo], nan)
			if lo < hi {
				copy(out[lo:hi], src.Row(c, y+dy)[lo+dx:])
			}
			fill(out[hi:], nan)
		}
	}
}

func fill(v []float32, x float32) {
	for i := range v {
		v[i] = x
	}
}

func newShifter(width int, src *plane.Image, dx, dy float64, k Kernel) *shifter {
	s := &shifter{sampler: sampler{src: src, tb: &tables[k]}, dx: dx, dy: dy}
	fx, fy := math.Floor(dx), math.Floor(dy)
	wx, wy := k.Weights(dx-fx), k.Weights(dy-fy)
	for j := range wx {
		s.wx[j], s.wy[j] = float32(wx[j]), float32(wy[j])
	}
	n := k.Taps()
	s.x0, s.y0 = int(fx)-n/2+1, int(fy)-n/2+1
	s.first = min(max(0, -s.x0), width)
	s.end = max(min(width, src.W-n-s.x0+1), s.first)
	for j := range n {
		s.ring[j] = make([]float32, width)
	}
	return s
}

// forget empties the ring, for another channel.
func (s *shifter) forget() {
	for j := range s.held {
		s.held[j] = -1
	}
}

// row fills row y of the result.
func (s *shifter) row(out, p []float32, y int) {
	n := s.tb.taps
	top := y + s.y0
	first, end := s.first, s.end
	if top < 0 || top+n > s.src.H {
		end = first // some of the rows are missing
	}
	for x := range first {
		out[x] = s.single(p, x, y)
	}
	for x := end; x < len(out); x++ {
		out[x] = s.single(p, x, y)
	}
	if first >= end {
		return
	}
	var rows [6][]float32
	for j := range n {
		r := top + j
		slot := r % n
		if s.held[slot] != r {
			s.along(s.ring[slot][first:end], p[r*s.src.W+first+s.x0:])
			s.held[slot] = r
		}
		rows[j] = s.ring[slot][first:end]
	}
	s.across(out[first:end], &rows)
	for x := first; x < end; x++ {
		if out[x] != out[x] {
			out[x] = s.single(p, x, y)
		}
	}
}

// single is one pixel over what is there.
func (s *shifter) single(p []float32, x, y int) float32 {
	px, py := float64(x)+s.dx, float64(y)+s.dy
	if !(px >= -0.5 && py >= -0.5 && px <= float64(s.src.W)-0.5 && py <= float64(s.src.H)-0.5) {
		return nan
	}
	one := s.sampler
	one.x0, one.y0 = x+s.x0, y+s.y0
	return one.partial(p)
}

// along filters one row along x.
func (s *shifter) along(out, in []float32) {
	w0, w1, w2, w3, w4, w5 := s.wx[0], s.wx[1], s.wx[2], s.wx[3], s.wx[4], s.wx[5]
	m := len(out)
	switch s.tb.taps {
	case 2:
		a, b := in[:m], in[1:][:m]
		for x := range out {
			out[x] = float32(w0*a[x]) + float32(w1*b[x])
		}
	case 4:
		a, b, c, d := in[:m], in[1:][:m], in[2:][:m], in[3:][:m]
		for x := range out {
			out[x] = (float32(w0*a[x]) + float32(w1*b[x])) + (float32(w2*c[x]) + float32(w3*d[x]))
		}
	default:
		a, b, c, d, e, f := in[:m], in[1:][:m], in[2:][:m], in[3:][:m], in[4:][:m], in[5:][:m]
		for x := range out {
			out[x] = (float32(w0*a[x]) + float32(w1*b[x])) + (float32(w2*c[x]) + float32(w3*d[x])) +
				(float32(w4*e[x]) + float32(w5*f[x]))
		}
	}
}

// across sums filtered rows along y.
func (s *shifter) across(out []float32, rows *[6][]float32) {
	w0, w1, w2, w3, w4, w5 := s.wy[0], s.wy[1], s.wy[2], s.wy[3], s.wy[4], s.wy[5]
	m := len(out)
	a, b := rows[0][:m], rows[1][:m]
	if s.tb.taps == 2 {
		for x := range out {
			out[x] = float32(w0*a[x]) + float32(w1*b[x])
		}
		return
	}
	c, d := rows[2][:m], rows[3][:m]
	if s.tb.taps == 4 {
		for x := range out {
			out[x] = float32(w0*a[x]) + float32(w1*b[x]) + float32(w2*c[x]) + float32(w3*d[x])
		}
		return
	}
	e, f := rows[4][:m], rows[5][:m]
	for x := range out {
		out[x] = float32(w0*a[x]) + float32(w1*b[x]) + float32(w2*c[x]) + float32(w3*d[x]) +
			float32(w4*e[x]) + float32(w5*f[x])
	}
}
