package stacks

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestKnownWindowByHand(t *testing.T) {
	cv := canvas{W: 6, H: 5}
	p, q := make([]float32, 30), make([]float32, 30)
	nan := float32(math.NaN())
	for x := range 6 {
		p[x] = nan // the first row
	}
	q[2*6+5] = nan // one pixel of the last column
	if x0, y0, x1, y1 := knownWindow(p, q, cv); x0 != 0 || y0 != 1 || x1 != 5 || y1 != 5 {
		t.Errorf("window %d, %d to %d, %d; want 0, 1 to 5, 5", x0, y0, x1, y1)
	}
	for i := range p {
		p[i] = nan
	}
	if x0, y0, x1, y1 := knownWindow(p, q, cv); x0 < x1 && y0 < y1 {
		t.Errorf("window %d, %d to %d, %d of nothing known", x0, y0, x1, y1)
	}
}

// Two halves of one ground agree to a finer scale the less noise they have.
func TestAgreementFallsWithNoise(t *testing.T) {
	cv := canvas{W: sceneW, H: sceneH}
	n := cv.W * cv.H
	last := 0.51
	for _, sigma := range []float64{0, 0.003, 0.03, 0.3} {
		r := rand.New(rand.NewPCG(2, 4))
		s := &sums{c: cv, raster: cv.plain()}
		for k := range s.half {
			v, w := make([]float32, n), make([]float32, n)
			for i := range v {
				w[i] = 2
				v[i] = 2 * float32(ground(float64(i%cv.W), float64(i/cv.W))+sigma*r.NormFloat64())
			}
			w[0], v[0] = 0, 0 // unknown
			s.half[k] = half{value: [][]float32{v}, weight: [][]float32{w}}
		}
		got := halvesOf(s, 0).agreement().Limit()
		if got >= last || sigma == 0 && got != 0.5 {
			t.Errorf("noise %g: agreement up to %.3f cycles/px, with less noise up to %.3f", sigma, got, last)
		}
		last = got
	}
}

// Both halves are equally sharp: ranks are dealt out so that their sums are equal in each four.
func TestHalvesAreDealtOutEvenly(t *testing.T) {
	for at := 0; at < 64; at += 4 {
		sum := [2]int{}
		for k := at; k < at+4; k++ {
			sum[halfOf(k)] += k
		}
		if sum[0] != sum[1] {
			t.Errorf("ranks %d to %d: %v", at, at+3, sum)
		}
	}
}
