package portable

import (
	"math"
	"math/rand/v2"
	"testing"
)

// ulps returns |got-want| in units of want's last place.
func ulps(got, want float64) float64 {
	if got == want || (got != got && want != want) {
		return 0
	}
	d := math.Abs(got - want)
	u := math.Nextafter(math.Abs(want), math.Inf(1)) - math.Abs(want)
	return d / u
}

func samples(r *rand.Rand, lo, hi float64, n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = lo + (hi-lo)*r.Float64()
	}
	return v
}

// Package math is right to under 1 ulp itself (its own stated aim), so a bound
// of b ulp for ours shows as at most b+1 against it.
func TestAgainstMath(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	wide := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Ldexp(0.5+r.Float64()/2, r.IntN(1800)-900)
		}
		return v
	}
	const n = 200000
	cases := []struct {
		name      string
		own, std  func(float64) float64
		in        []float64
		bound     float64
		absBelow1 bool
	}{
		{"Sin", Sin, math.Sin, samples(r, -10, 10, n), 2, false},
		{"Cos", Cos, math.Cos, samples(r, -10, 10, n), 2, false},
		{"Exp", Exp, math.Exp, samples(r, -700, 700, n), 2, false},
		{"Exp near 0", Exp, math.Exp, samples(r, -1, 1, n), 2, false},
		{"Log", Log, math.Log, wide(n), 2, false},
		{"Log near 1", Log, math.Log, samples(r, 0.5, 2, n), 2, false},
		{"Asin", Asin, math.Asin, samples(r, -1, 1, n), 3, false},
		{"Acos", Acos, math.Acos, samples(r, -1, 1, n), 3, false},
		{"Atan", Atan, math.Atan, samples(r, -20, 20, n), 2, false},
		{"Cbrt", Cbrt, math.Cbrt, wide(n), 2, false},
	}
	for _, c := range cases {
		worst, at := 0.0, 0.0
		for _, x := range c.in {
			if u := ulps(c.own(x), c.std(x)); u > worst {
				worst, at = u, x
			}
		}
		t.Logf("%-10s worst %.3g ulp", c.name, worst)
		if worst > c.bound {
			t.Errorf("%s(%v): %v ulp from package math, want at most %v", c.name, at, worst, c.bound)
		}
	}
}
