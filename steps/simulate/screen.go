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
	slow []slowWave
}

// slowWave is one sub-harmonic: cycles a cell along x and y, and its standard deviation.
type slowWave struct{ fx, fy, amp float64 }

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
		for ky := -1; ky <= 1; ky++ {
			for kx := -1; kx <= 1; kx++ {
				if kx == 0 && ky == 0 {
					continue
				}
				fx, fy := float64(kx)*width, float64(ky)*width
				s.slow = append(s.slow, slowWave{fx, fy, math.Sqrt(cellPower(fx, fy, width, 12))})
			}
		}
	}
	return s
}

// cellPower integrates the spectrum over a square cell of frequencies, k by k points.
func cellPower(fx, fy, width float64, k int) float64 {
	sum := 0.0
	for j := range k {
		for i := range k {
			x := fx + float64(width*((float64(i)+0.5)/float64(k)-0.5))
			y := fy + float64(width*((float64(j)+0.5)/float64(k)-0.5))
			sum += portable.Pow(sq(x)+sq(y), -11.0/6)
		}
	}
	return kolmogorov * sum / float64(k*k) * float64(width*width)
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

// addSlow adds the sub-harmonics. Waves along x share their sum over y.
func (s *screens) addSlow(a, b []float32, d *dice) {
	n := s.n
	re, im := make([]float32, len(s.slow)), make([]float32, len(s.slow))
	for i, w := range s.slow {
		re[i], im[i] = float32(w.amp)*d.gauss(), float32(w.amp)*d.gauss()
	}
	rowRe, rowIm := make([]float32, n), make([]float32, n)
	for k, w := range s.slow {
		for x := range n {
			sin, cos := portable.Sincos(2 * math.Pi * float64(w.fx*float64(x)))
			rowRe[x], rowIm[x] = float32(cos), float32(sin)
		}
		for y := range n {
			sin, cos := portable.Sincos(2 * math.Pi * float64(w.fy*float64(y)))
			c, t := float32(cos), float32(sin)
			p, q := float32(re[k]*c)-float32(im[k]*t), float32(re[k]*t)+float32(im[k]*c)
			for x := range n {
				i := y*n + x
				a[i] += float32(p*rowRe[x]) - float32(q*rowIm[x])
				b[i] += float32(p*rowIm[x]) + float32(q*rowRe[x])
			}
		}
	}
}
