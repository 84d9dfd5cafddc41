package simulate

import (
	"math"
	"testing"
)

// Structure function 6.8839 (r/r0)^(5/3): Fried 1966, J. Opt. Soc. Am. 56:1372.
func TestStructureFunction(t *testing.T) {
	const n, draws = 64, 300
	s := newScreens(n)
	a, b := make([]float32, n*n), make([]float32, n*n)
	apart := []int{4, 8, 16, 32}
	sums := make([]float64, len(apart))
	counts := make([]float64, len(apart))
	for k := range draws {
		s.draw(a, b, newDice(1, forScreen, k))
		for _, v := range [][]float32{a, b} {
			for j, r := range apart {
				for y := 0; y < n; y += 4 {
					for x := 0; x+r < n; x += 4 {
						sums[j] += sq(float64(v[y*n+x+r]-v[y*n+x])) + sq(float64(v[(x+r)*n+y]-v[x*n+y]))
						counts[j] += 2
					}
				}
			}
		}
	}
	for j, r := range apart {
		want := 6.8839 * math.Pow(float64(r), 5.0/3)
		// Sampled screens with sub-harmonics: 5 % for chance and for the grid.
		if got := sums[j] / counts[j]; math.Abs(got/want-1) > 0.05 {
			t.Errorf("%d cells apart: %.1f rad², want %.1f (%+.1f %%)", r, got, want, 100*(got/want-1))
		}
	}
}

// Noll 1976, J. Opt. Soc. Am. 66:207, Table IV: 0.134 (D/r0)^(5/3) rad² are left
// without piston and tilt.
func TestNollResidual(t *testing.T) {
	const draws = 400
	s := newScreens(screenSide)
	p := newPupil(64, 0.484, 0)
	a, b := make([]float32, screenSide*screenSide), make([]float32, screenSide*screenSide)
	phase := make([]float64, p.side*p.side)
	sum, n := 0.0, 0.0
	for k := range draws {
		s.draw(a, b, newDice(2, forScreen, k))
		for _, w := range windows {
			for y := range p.side {
				for x := range p.side {
					phase[y*p.side+x] = float64(a[(w.y+y)*screenSide+w.x+x])
				}
			}
			sum += p.flatten(phase)
			n++
		}
	}
	want := 0.134 * math.Pow(2*p.radius, 5.0/3)
	if got := sum / n; math.Abs(got/want-1) > 0.05 {
		t.Errorf("%.3f rad² are left at D/r0 = %.1f, want %.3f (%+.1f %%)", got, 2*p.radius, want, 100*(got/want-1))
	}
}
