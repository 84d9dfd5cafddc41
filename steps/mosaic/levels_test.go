package mosaic

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A panel of nothing but noisy sky has no say in its own factor: it stays near one, however its places scatter.
func TestSkyPanelKeepsItsFactor(t *testing.T) {
	const w, h = 320, 240
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 9))
		p := panel{w: w, h: h, v: make([]float32, w*h)}
		for y := range h {
			for x := range w {
				// noise, and a glow that changes by 0.004 of white across the field
				p.v[y*w+x] = float32(0.03 + 0.02*r.Float64() + 0.004*float64(x)/w)
			}
		}
		places := skyPlaces(p, flat(similarity{A: 1}), circle{true, -1000, 0, 100})
		sky := skyLevels([][]skyPlace{places, places})
		lit := []toneTie{{A: 1, B: 2, VA: 0.5, VB: 0.5, SA: 0.01, SB: 0.01}, {A: 1, B: 2, VA: 0.1, VB: 0.1, SA: 0.01, SB: 0.01}}
		lv, err := matchLevels(3, []bool{true, true, true}, lit, sky)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(lv[0].Factor-1) > 0.01 {
			t.Errorf("seed %d: a panel of sky gets the factor %.3f", seed, lv[0].Factor)
		}
	}
}

// Exposures a factor of eight apart, in a chain: each factor is found, and their geometric mean is one, however many
// panels there are of either.
func TestFactorsThroughExposures(t *testing.T) {
	exposure := []float64{1, 1, 8, 1, 8, 8, 8}
	var ties []toneTie
	for i := range len(exposure) - 1 {
		for _, ground := range []float64{0.02, 0.06, 0.1} {
			ties = append(ties, toneTie{A: i, B: i + 1, VA: ground * exposure[i], VB: ground * exposure[i+1], SA: 1e-3, SB: 1e-3})
		}
	}
	in := make([]bool, len(exposure))
	for i := range in {
		in[i] = true
	}
	lv, err := matchLevels(len(in), in, ties, nil)
	if err != nil {
		t.Fatal(err)
	}
	product := 1.0
	for i, l := range lv {
		product *= l.Factor
		if r := l.Factor * exposure[i] / lv[0].Factor; math.Abs(r-1) > 5e-3 { // a thousandth a link goes to the prior of one
			t.Errorf("panel %d, exposed %g times, gets %.4f of the first's factor", i, exposure[i], l.Factor/lv[0].Factor)
		}
	}
	if math.Abs(product-1) > 1e-3 {
		t.Errorf("the factors' product is %.4f, want 1", product)
	}
}
