package mosaic

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What is solved fulfils the equations: normal matrix times bends is what the terms ask for.
func TestSolvedBendsFulfilTheEquations(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	bends := []bend{newBend(300, 200, 40), newBend(260, 220, 40), newBend(300, 200, 40), {}} // the last panel is not placed
	var terms []bendTerm
	for k := range 400 {
		a := r.IntN(4) - 1
		s := bendTerm{a: a, b: (a + 1 + r.IntN(2)) % 3}
		for i := range 1 + r.IntN(2) {
			s.axes[i] = along(math.Cos(float64(k+3*i)), math.Sin(float64(k+3*i)), r.NormFloat64(), math.Exp2(-float64(r.IntN(12))))
		}
		s.tb = bends[s.b].taps(220*r.Float64(), 180*r.Float64())
		if a >= 0 {
			s.ta = bends[a].taps(220*r.Float64(), 180*r.Float64())
		}
		terms = append(terms, s)
	}
	solveBends(bends, terms)
	got, want := like(bends), like(bends)
	curvature(bends, got, terms)
	for k := range terms {
		for _, a := range terms[k].axes {
			terms[k].spread(want, a.weight*a.value*a.nx, a.weight*a.value*a.ny)
		}
	}
	size := dot(want, want)
	combine(got, -1, want)
	if off := math.Sqrt(dot(got, got) / size); off > 5e-4 {
		t.Errorf("the equations are off by %.2g of their right side", off)
	}
}

// The diagonal is what the normal matrix does to each unknown by itself.
func TestDiagonal(t *testing.T) {
	b := []bend{newBend(120, 90, 40)}
	s := bendTerm{a: -1, b: 0, tb: b[0].taps(50, 40)}
	s.axes = [2]bendAxis{along(0.6, 0.8, 0, 1.0/3), along(-0.8, 0.6, 0, 1.0/7)}
	own := diagonal(b, []bendTerm{s})
	for k := range b[0].DX {
		for _, axis := range []func(b bend) []float64{func(b bend) []float64 { return b.DX }, func(b bend) []float64 { return b.DY }} {
			one, out := like(b), like(b)
			axis(one[0])[k] = 1
			curvature(one, out, []bendTerm{s})
			if got, want := axis(own[0])[k], axis(out[0])[k]; math.Abs(got-want) > 1e-9*want {
				t.Errorf("unknown %d: %g, want %g", k, got, want)
			}
		}
	}
}
