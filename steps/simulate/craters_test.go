package simulate

import (
	"math"
	"testing"
)

// Pike 1977 (depth 0.196 D^1.010 and 1.044 D^0.301, rim 0.036 D^1.014 and
// 0.236 D^0.399; his abstract puts the change of shape at 10 to 15 km).
func TestCraterShape(t *testing.T) {
	for _, c := range []struct{ km, depth, rim float64 }{{10, 2.006, .372}, {50, 3.389, 1.124}, {100, 4.175, 1.482}} {
		if got := depthKm(c.km); math.Abs(got-c.depth) > 1e-3 {
			t.Errorf("%g km: depth %.3f km, want %.3f", c.km, got, c.depth)
		}
		if got := rimKm(c.km); math.Abs(got-c.rim) > 1e-3 {
			t.Errorf("%g km: rim %.3f km, want %.3f", c.km, got, c.rim)
		}
	}
	for _, km := range []float64{8, 50} {
		p := newProfile(crater{km: km})
		if got := p.at(1-1e-9) - p.at(0.29); got < 0 {
			t.Errorf("%g km: the wall falls by %g km toward the rim", km, -got)
		}
		low := math.Inf(1)
		for r := 0.0; r < 1; r += 0.01 {
			low = min(low, p.at(r))
		}
		if got := p.at(1) - low; math.Abs(got-depthKm(km)) > 1e-9 {
			t.Errorf("%g km: from floor to crest %g km, want %g", km, got, depthKm(km))
		}
		if p.at(p.reach) != 0 {
			t.Errorf("%g km: the ejecta end in a step", km)
		}
	}
}

// The sizes drawn follow the power law that was asked for: the maximum
// likelihood slope of n of them is off by slope/√n (Clauset, Shalizi & Newman 2009, eq. 3.1).
func TestSizeDistribution(t *testing.T) {
	const slope, least = 1.9, 5.0
	m := newMaria(1)
	n, sum := 0.0, 0.0
	for _, c := range population(m, 7, 1500, slope, least, math.Inf(1)) {
		if m.at(c.centre).mare == 0 {
			n++
			sum += math.Log(c.km / least)
		}
	}
	if n < 5000 {
		t.Fatalf("only %g craters in the highlands", n)
	}
	if got := n / sum; math.Abs(got-slope) > 3*slope/math.Sqrt(n) {
		t.Errorf("slope %.3f of %g craters, want %g", got, n, slope)
	}
}

func TestNamedCraters(t *testing.T) {
	cs := namedCraters()
	if len(cs) != 308 {
		t.Errorf("%d craters, want 308", len(cs))
	}
	for _, c := range cs {
		if c.km < 1 || c.worn < 0 || c.worn > 1 || math.Abs(c.centre.norm()-1) > 1e-12 {
			t.Errorf("odd crater %+v", c)
		}
	}
}
