package frames

import (
	"math"
)

// translate writes dst(x, y) = src(x+dx, y+dy) with the cubic kernel of Keys
// (1981, a = −½), rows then columns; what needs pixels outside src is NaN.
func translate(dst, src []float32, w, h int, dx, dy float64) {
	nan := float32(math.NaN())
	ix, iy := int(math.Floor(dx)), int(math.Floor(dy))
	kx, ky := keys(float32(dx-float64(ix))), keys(float32(dy-float64(iy)))
	x0, x1 := min(max(0, 1-ix), w), max(0, min(w, w-2-ix))
	ring := [4][]float32{}
	for k := range ring {
		ring[k] = make([]float32, w)
	}
	done := math.MinInt
	for y := range h {
		d := dst[y*w:][:w]
		sy := y + iy
		if sy-1 < 0 || sy+2 >= h || x1 <= x0 {
			for x := range d {
				d[x] = nan
			}
			continue
		}
		for k := max(sy-1, done+1); k <= sy+2; k++ {
			s, r := src[k*w:][:w], ring[k&3]
			for x := x0; x < x1; x++ {
				q := s[x+ix-1 : x+ix+3 : x+ix+3]
				r[x] = (float32(kx[0]*q[0]) + float32(kx[1]*q[1])) + (float32(kx[2]*q[2]) + float32(kx[3]*q[3]))
			}
			done = k
		}
		a, b, c, e := ring[(sy-1)&3], ring[sy&3], ring[(sy+1)&3], ring[(sy+2)&3]
		for x := range x0 {
			d[x] = nan
		}
		for x := x0; x < x1; x++ {
			d[x] = (float32(ky[0]*a[x]) + float32(ky[1]*b[x])) + (float32(ky[2]*c[x]) + float32(ky[3]*e[x]))
		}
		for x := x1; x < w; x++ {
			d[x] = nan
		}
	}
}

// keys returns the weights of the pixels at −1, 0, 1 and 2 for a place t, 0 ≤ t < 1.
func keys(t float32) [4]float32 {
	t2 := float32(t * t)
	t3 := float32(t2 * t)
	return [4]float32{
		0.5 * ((t2 - t3) + (t2 - t)),
		1 + float32(0.5*(float32(3*t3)-float32(5*t2))),
		0.5 * ((t + float32(4*t2)) - float32(3*t3)),
		0.5 * (t3 - t2),
	}
}
