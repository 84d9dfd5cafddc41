package simulate

import (
	"math"

	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/portable"
)

// screens makes sheets of Kolmogorov turbulence by filtering white noise
// (McGlamery 1976), with what is slower than the sheet added from finer and
// finer grids around zero frequency (Lane, Glindemann & Dainty 1992).
type screens struct {
	n    int
	ft   *fourier.Plan
	amp  []float32 // standard deviation of each bin of the transform, r0 = 1 cell
	slow []slowColumn
	tilt float32 // standard deviation of the slope that all slower waves make together
}

// slowColumn holds the sub-harmonics that share a frequency along x: the waves'
// standard deviations, and cosine and sine over the screen's columns and rows.
type slowColumn struct {
	amp      [3]float32
	cos, sin []float32    // along x
	rows     [3][]float32 // along y: cos, sin in turn
}

// Phase spectrum 0.022896 r0^(-5/3) f^(-11/3) in rad² per (cycle per length)² (Noll 1976).
const kolmogorov = 0.022896

// subLevels is how often the grid around zero frequency is refined by three.
const subLevels = 5

func newScreens(n int) *screens {
	s := &screens{n: n, ft: fourier.New(n, n), amp: make([]float32, n*n)}
	for y := range n {
		for x := range n {
			fx, fy := freq(x, n), freq(y, n)
			if x == 0 && y == 0 {
				continue
			}
			power := cellPower(fx, fy, 1/float64(n), 2)
			if sq(fx)+sq(fy) < sq(6/float64(n)) {
				power = cellPower(fx, fy, 1/float64(n), 12)
			}
			s.amp[y*n+x] = float32(math.Sqrt(power))
		}
	}
	width := 1 / float64(n)
	for range subLevels {
		width /= 3
		for kx := -1; kx <= 1; kx++ {
			s.slow = append(s.slow, newSlowColumn(n, kx, width))
		}
	}
	// Waves slower still make nothing but a slope along either axis.
	s.tilt = float32(2 * math.Pi * math.Sqrt(kolmogorov*steepness(0, 0, width, 60)/2))
	return s
}

func newSlowColumn(n, kx int, width float64) slowColumn {
	var c slowColumn
	fx := float64(kx) * width
	c.cos, c.sin = make([]float32, n), make([]float32, n)
	for i := range n {
		sin, cos := portable.Sincos(2 * math.Pi * float64(fx*float64(i)))
		c.cos[i], c.sin[i] = float32(cos), float32(sin)
	}
	for j := range c.rows {
		fy := float64(j-1) * width
		for i := range n {
			sin, cos := portable.Sincos(2 * math.Pi * float64(fy*float64(i)))
			c.rows[j] = append(c.rows[j], float32(cos), float32(sin))
		}
		if kx != 0 || j != 1 {
			c.amp[j] = float32(math.Sqrt(cellPower(fx, fy, width, 12)))
		}
	}
	return c
}

// cellPower is the variance that one wave at (fx, fy) must have to stand for a
// square cell of frequencies: the spectrum is integrated over k by k points of
// the cell, weighted by f² against the wave's own. That keeps the slopes of the
// screen right where the spectrum falls steeply across a cell.
func cellPower(fx, fy, width float64, k int) float64 {
	return kolmogorov * steepness(fx, fy, width, k) / (sq(fx) + sq(fy))
}

// steepness integrates f^(-11/3) f² over a square cell.
func steepness(fx, fy, width float64, k int) float64 {
	sum := 0.0
	for j := range k {
		for i := range k {
			x := fx + float64(width*((float64(i)+0.5)/float64(k)-0.5))
			y := fy + float64(width*((float64(j)+0.5)/float64(k)-0.5))
			sum += portable.Pow(sq(x)+sq(y), -5.0/6)
		}
	}
	return sum / float64(k*k) * sq(width)
}

// draw fills a and b, n by n, with two independent screens for r0 of one cell,
// in radians; another r0 scales them by r0^(-5/6).
func (s *screens) draw(a, b []float32, d *dice) {
	for i, k := range s.amp {
		a[i], b[i] = k*d.gauss(), k*d.gauss()
	}
	s.ft.Inverse(a, b)
	k := float32(s.n * s.n) // the inverse is scaled down, a sum of waves is not
	for i := range a {
		a[i] *= k
		b[i] *= k
	}
	s.addSlow(a, b, d)
}

// addSlow adds the sub-harmonics, a column's waves summed over y first, and the slope.
func (s *screens) addSlow(a, b []float32, d *dice) {
	for _, v := range [2][]float32{a, b} {
		gx, gy := s.tilt*d.gauss(), s.tilt*d.gauss()
		for i := range v {
			v[i] += float32(gx*float32(i%s.n)) + float32(gy*float32(i/s.n))
		}
	}
	for k := range s.slow {
		c := &s.slow[k]
		var re, im [3]float32
		for j, amp := range c.amp {
			re[j], im[j] = amp*d.gauss(), amp*d.gauss()
		}
		for y := range s.n {
			var p, q float32
			for j := range re {
				cos, sin := c.rows[j][2*y], c.rows[j][2*y+1]
				p += float32(re[j]*cos) - float32(im[j]*sin)
				q += float32(re[j]*sin) + float32(im[j]*cos)
			}
			ra, rb := a[y*s.n:(y+1)*s.n], b[y*s.n:(y+1)*s.n]
			for x, cos := range c.cos {
				sin := c.sin[x]
				ra[x] += float32(p*cos) - float32(q*sin)
				rb[x] += float32(p*sin) + float32(q*cos)
			}
		}
	}
}
