package frames

import (
	"math/rand/v2"
	"testing"

	"plenilune/pipeline/pipelinetest"
)

// Bare sky is known in fields of any size, of few frames and of many.
func TestNoiseOfAnySizeIsSky(t *testing.T) {
	for _, c := range []struct{ w, h, frames int }{{32, 24, 40}, {64, 48, 30}, {80, 64, 16}, {104, 80, 40}, {120, 120, 20}, {200, 64, 40}, {260, 200, 30}} {
		for seed := range 3 {
			r := rand.New(rand.NewPCG(uint64(seed), 8))
			f := make(pipelinetest.File, c.frames*c.w*c.h)
			for i := range f {
				f[i] = byte(max(0, 5+2.5*r.NormFloat64()))
			}
			tab, _ := gradeOf(t, 2, f, clipIndex{Layout: monoLayout(c.w, c.h), Frames: c.frames, Depth: 8, White: 255})
			if !tab.SkyOnly {
				t.Errorf("%d frames of noise, %d×%d px, seed %d: something was followed, fits %v", c.frames, c.w, c.h, seed, tab.Fit)
			}
		}
	}
}

// Small fields that show ground are not sky, dim as they may be.
func TestDimGroundInSmallFieldsIsNoSky(t *testing.T) {
	for _, c := range []struct {
		w, h  int
		light float64 // of the ground, 1 is bright
	}{{48, 40, 0.3}, {64, 48, 0.2}, {104, 80, 0.12}, {144, 112, 0.1}} {
		r := rand.New(rand.NewPCG(5, 8))
		var f pipelinetest.File
		for range 30 {
			dx, dy := 3*r.Float64(), 3*r.Float64()
			for y := range c.h {
				for x := range c.w {
					f = append(f, byte(max(0, 5+255*c.light*ground(float64(x)-dx, float64(y)-dy, 1)+2.5*r.NormFloat64())))
				}
			}
		}
		tab, _ := gradeOf(t, 2, f, clipIndex{Layout: monoLayout(c.w, c.h), Frames: 30, Depth: 8, White: 255})
		if tab.SkyOnly {
			t.Errorf("ground of %d×%d px at %g of its light was taken for sky, fits %v", c.w, c.h, c.light, tab.Fit)
		}
	}
}
