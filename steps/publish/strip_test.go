package publish

import (
	"context"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/lettering"
)

// grain is noise of a standard deviation on a level.
func grain(r *rand.Rand, w, h int, level, sigma float64) []float32 {
	out := make([]float32, w*h)
	for i := range out {
		out[i] = float32(level + sigma*r.NormFloat64())
	}
	return out
}

// The crop lies on the one place with detail; not on the limb, not where data lack.
func TestBusiestIsWhereDetailIs(t *testing.T) {
	const w, h, size = 400, 300, 64
	r := rand.New(rand.NewPCG(6, 1))
	lum := grain(r, w, h, 0.5, 0.001)
	for y := range h {
		for x := range 60 {
			lum[y*w+x] = 0.001 // sky, and the limb beside it
		}
	}
	ripple := func(x0, y0 int) {
		for y := y0; y < y0+size; y++ {
			for x := x0; x < x0+size; x++ {
				lum[y*w+x] += float32(0.05 * math.Sin(2*math.Pi*float64(x)/8) * math.Sin(2*math.Pi*float64(y)/8))
			}
		}
	}
	ripple(200, 120)
	ripple(320, 200)
	lum[230*w+350] = float32(math.NaN())
	x, y := busiest(lum, w, h, size)
	if math.Abs(float64(x-200)) > size/8 || math.Abs(float64(y-120)) > size/8 {
		t.Errorf("the crop is at (%d, %d), the detail at (200, 120)", x, y)
	}
}

// The noise of even ground is what was put there, against its brightness; what is dark
// or lacks data says nothing, and detail elsewhere does not count.
func TestNoiseOfSmoothGround(t *testing.T) {
	const w, h = 700, 500
	r := rand.New(rand.NewPCG(6, 2))
	lum := grain(r, w, h, 0.4, 0.004)
	for i := range lum {
		switch x := i % w; {
		case x < 100:
			lum[i] = 0
		case x < 200:
			lum[i] = float32(math.NaN())
		case x < 450:
			lum[i] += float32(0.1 * r.NormFloat64())
		}
	}
	part := pipeline.Part{Name: "noise", Out: []string{"noise"}, Run: func(_ context.Context, t *pipeline.Task) error {
		p, err := t.One("linear").Plane()
		if err != nil {
			return err
		}
		defer p.Close()
		pct, ok, err := noisePct(p)
		if err != nil {
			return err
		}
		return t.PutTable("noise", map[string]any{"pct": pct, "ok": ok})
	}}
	of := func(pix []float32) (out struct {
		Pct float64
		OK  bool
	}) {
		pipelinetest.Run(t, part, map[string][]any{"linear": {pipelinetest.Plane{W: w, H: h, Pix: [][]float32{pix}}}}).Table("noise", &out)
		return out
	}
	if got := of(lum); !got.OK || got.Pct < 0.85 || got.Pct > 1.02 {
		t.Errorf("noise %.3f %% of the brightness (%v), put in 1 %%; the quietest twentieth of the blocks may say less", got.Pct, got.OK)
	}
	if got := of(make([]float32, w*h)); got.OK {
		t.Errorf("of black, a noise of %.3f %% is told", got.Pct)
	}
}

// A crop is found again in a picture with other borders, whatever its brightness.
func TestFollowFindsTheCrop(t *testing.T) {
	const w, h, size = 192, 160, 64
	r := rand.New(rand.NewPCG(6, 3))
	in := grain(r, w, h, 0, 1)
	crop := make([]float32, size*size)
	for y := range size {
		for x := range size {
			crop[y*size+x] = 3 + 2*in[(y+37)*w+x+51]
		}
	}
	if at, ok := follow(crop, in, size, w, h); !ok || at != image.Pt(51, 37) {
		t.Errorf("found at %v (%v), cut at (51, 37)", at, ok)
	}
	if at, ok := follow(grain(r, size, size, 0, 1), in, size, w, h); ok {
		t.Errorf("noise was found at %v", at)
	}
}

// Lines end before what they must not touch.
func TestTypefaceKeepsItsRoom(t *testing.T) {
	f := typeface{lettering.Upright, 14}
	img := image.NewNRGBA(image.Rect(0, 0, 300, 40))
	f.write(img, "a line that is far too long for the room that it has here", 10, 25, sheetInk, 120)
	ink := 0
	for y := range 40 {
		for x := range 300 {
			if img.NRGBAAt(x, y).A > 0 {
				if ink++; x >= 120 {
					t.Fatalf("ink at (%d, %d), beyond 120", x, y)
				}
			}
		}
	}
	if ink < 100 {
		t.Errorf("only %d pixels have ink", ink)
	}
}
