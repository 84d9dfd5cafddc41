package fourier

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// reach and spread are the half-width and the σ, in pixels, of the Gaussian that
// ends the sinc by which a surface is read between its samples.
const (
	reach  = 16
	spread = 4.5
)

// refine returns the place and height of the peak next to (x, y) of a periodic,
// band-limited surface: parabolas through 3×3 interpolated values, ever closer
// together, until their spacing is 1/upsample pixel.
func refine(surface []float32, w, h, x, y, upsample int) (px, py, value float64) {
	px, py = float64(x), float64(y)
	value = float64(surface[y*w+x])
	if upsample <= 1 || w < 3 || h < 3 {
		return px, py, value
	}
	last := max(1/float64(upsample), 0.02)
	for step := 0.5; ; step = max(step/4, last) {
		v := around(surface, w, h, px, py, step)
		dx, dy := vertex(v)
		px += float64(dx * step)
		py += float64(dy * step)
		if step <= last {
			return px, py, v[4]
		}
	}
}

// vertex returns the top of the quadratic fitted to 3×3 values, in steps from
// the middle one and at most 1 along each axis.
func vertex(v [9]float64) (x, y float64) {
	gx := ((v[2] + v[5] + v[8]) - (v[0] + v[3] + v[6])) / 6
	gy := ((v[6] + v[7] + v[8]) - (v[0] + v[1] + v[2])) / 6
	a := ((v[2]+v[5]+v[8])+(v[0]+v[3]+v[6]))/3 - 2*(v[1]+v[4]+v[7])/3
	b := ((v[6]+v[7]+v[8])+(v[0]+v[1]+v[2]))/3 - 2*(v[3]+v[4]+v[5])/3
	c := ((v[0] + v[8]) - (v[2] + v[6])) / 4
	det := float64(a*b) - float64(c*c)
	if !(det > 0) || a >= 0 {
		// Not a peak: climb.
		return sign(gx), sign(gy)
	}
	x = (float64(c*gy) - float64(b*gx)) / det
	y = (float64(c*gx) - float64(a*gy)) / det
	return min(max(x, -1), 1), min(max(y, -1), 1)
}

func sign(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// around reads the surface at 3×3 places, step apart, about (x, y).
func around(surface []float32, w, h int, x, y, step float64) (v [9]float64) {
	var kx, ky [3][2 * reach]float64
	x0, y0 := int(math.Floor(x))-reach+1, int(math.Floor(y))-reach+1
	for i := range 3 {
		d := float64(float64(i-1) * step)
		sinc(&kx[i], x+d-float64(x0))
		sinc(&ky[i], y+d-float64(y0))
	}
	var at [2 * reach]int
	for i := range at {
		at[i] = mod(x0+i, w)
	}
	for j := range 2 * reach {
		row := surface[mod(y0+j, h)*w:][:w]
		var s [3]float64
		for i, k := range at {
			p := float64(row[k])
			s[0] += float64(kx[0][i] * p)
			s[1] += float64(kx[1][i] * p)
			s[2] += float64(kx[2][i] * p)
		}
		for i := range v {
			v[i] += float64(ky[i/3][j] * s[i%3])
		}
	}
	return v
}

// sinc fills k with the weights of samples 0… for a place x samples from the
// first; they sum to 1.
func sinc(k *[2 * reach]float64, x float64) {
	s := portable.Sin(math.Pi * (x - math.Floor(x)))
	if int(math.Floor(x))%2 != 0 {
		s = -s // sin πx
	}
	sum := 0.0
	for i := range k {
		d := x - float64(i)
		v := 1.0
		if d != 0 {
			v = s / float64(math.Pi*d)
			if i%2 == 1 {
				v = -v
			}
		}
		u := d / spread
		k[i] = float64(v * portable.Exp(-0.5*float64(u*u)))
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
}

func mod(i, n int) int {
	if i %= n; i < 0 {
		i += n
	}
	return i
}
