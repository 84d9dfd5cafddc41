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
		sky := skyOf(0, p, similarity{A: 1}, circle{true, -1000, 0, 100})
		sky = append(sky, skyOf(1, p, similarity{A: 1}, circle{true, -1000, 0, 100})...)
		lit := []toneTie{{1, 2, 0.5, 0.5, 1e4}, {1, 2, 0.1, 0.1, 1e4}}
		lv, err := matchLevels(3, []bool{true, true, true}, lit, sky)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(lv[0].Factor-1) > 0.01 {
			t.Errorf("seed %d: a panel of sky gets the factor %.3f", seed, lv[0].Factor)
		}
	}
}
