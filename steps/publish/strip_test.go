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
	"plenilune/steps/kernel/warp"
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
	c := chosen(t, pipelinetest.Plane{W: w, H: h, Pix: [][]float32{lum}}, lay{W: w, H: h, ToSource: warp.Identity()}, cropSettings{Size: size})
	if math.Abs(float64(c.X-200)) > size/8 || math.Abs(float64(c.Y-120)) > size/8 {
		t.Errorf("the crop is at (%d, %d), the detail at (200, 120)", c.X, c.Y)
	}
}

// chosen is where a crop comes to lie.
func chosen(t *testing.T, linear pipelinetest.Plane, l lay, s cropSettings) (c cropTable) {
	t.Helper()
	part := pipeline.Part{Name: "crop", Settings: s, Out: []string{"crop"}, Run: pipeline.Bind(chooseCrop)}
	pipelinetest.Run(t, part, map[string][]any{"linear": {linear}, "layout": {l}}).Table("crop", &c)
	return c
}

// Of a finished picture that shows a part, turned by a quarter, the crop lies in that part, however much detail is elsewhere.
func TestCropLiesInTheFinishedPicture(t *testing.T) {
	const w, h, size = 700, 600, 64
	r := rand.New(rand.NewPCG(6, 4))
	lum := grain(r, w, h, 0.5, 0.001)
	for y := 20; y < 120; y++ {
		for x := 20; x < 120; x++ {
			lum[y*w+x] += float32(0.2 * r.NormFloat64())
		}
	}
	for y := 480; y < 544; y++ {
		for x := 560; x < 624; x++ {
			lum[y*w+x] += float32(0.02 * r.NormFloat64())
		}
	}
	p := pipelinetest.Plane{W: w, H: h, Pix: [][]float32{lum}}
	// 150 × 180 px: (0, 0) lies at (669, 420), to the right goes down, and down goes left.
	l := lay{W: 150, H: 180, ToSource: warp.Affine{0, -1, 669, 1, 0, 420}}
	c := chosen(t, p, l, cropSettings{Size: size})
	if math.Abs(float64(c.X-560)) > size/8 || math.Abs(float64(c.Y-480)) > size/8 {
		t.Errorf("the crop is at (%d, %d), the part's detail at (560, 480)", c.X, c.Y)
	}
	if c := chosen(t, p, l, cropSettings{Size: 512}); c.Size != 150 {
		t.Errorf("of a picture of 150 × 180 px, a crop has %d px", c.Size)
	}
	for _, at := range [][2]float64{{0, 0}, {149, 179}, {40.6, 70.4}} {
		c := chosen(t, p, l, cropSettings{Given: true, X: at[0], Y: at[1], Size: size})
		shown, err := l.over(image.Pt(c.X, c.Y), size)
		if err != nil || !image.Rect(0, 0, size, size).Add(shown).In(image.Rect(-1, -1, l.W+1, l.H+1)) {
			t.Errorf("a crop about %v is shown from %v on: %v", at, shown, err)
		}
		if at[0] == 40.6 && (shown.X+size/2 < 40 || shown.X+size/2 > 41 || shown.Y+size/2 < 70 || shown.Y+size/2 > 71) {
			t.Errorf("a crop about %v is shown about (%d, %d)", at, shown.X+size/2, shown.Y+size/2)
		}
	}
}

// On a Moon with relief beside the terminator and a mottled, fully lit limb, the crop takes the relief, most of it lit, and stays
// within the limb.
func TestCropPrefersTheTerminator(t *testing.T) {
	const w, h, size, radius = 900, 900, 128, 400.0
	r := rand.New(rand.NewPCG(6, 5))
	lum := grain(r, w, h, 0.001, 0.0005)
	bump := func(x, y float64) float64 { return math.Sin(2*math.Pi*x/10) * math.Sin(2*math.Pi*y/10) }
	for y := range h {
		for x := range w {
			u, v := (float64(x)-450)/radius, (float64(y)-450)/radius
			z := 1 - u*u - v*v
			if z < 0 {
				continue
			}
			// seas, whose shores are some pixels wide
			shore := min(math.Hypot(u-0.95, v)-0.2, math.Hypot(u-0.6, v+0.6)-0.15) * radius
			albedo := 0.25 + 0.35*min(1, max(0, shore/8))
			sun := 0.97*u + 0.25*math.Sqrt(z) // low at the left
			lum[y*w+x] += float32(albedo * max(0, sun+0.06*bump(float64(x), float64(y))))
		}
	}
	l := lay{W: w, H: h, ToSource: warp.Identity(), Disk: disk{true, 450, 450, radius}}
	for _, known := range []bool{true, false} {
		l.Disk.Found = known
		c := chosen(t, pipelinetest.Plane{W: w, H: h, Pix: [][]float32{lum}}, l, cropSettings{Size: size})
		// The terminator runs through u = −0.25 at the middle.
		if mid := (float64(c.X)+size/2-450)/radius + 0.25; mid < -0.3 || mid > 0.35 {
			t.Errorf("limb known: %v: the crop is at (%d, %d), far from the terminator", known, c.X, c.Y)
		}
		for _, p := range [4][2]int{{c.X, c.Y}, {c.X + size, c.Y}, {c.X, c.Y + size}, {c.X + size, c.Y + size}} {
			if d := math.Hypot(float64(p[0])-450, float64(p[1])-450); known && d > radius {
				t.Errorf("a corner of the crop lies %.0f px beyond the limb", d-radius)
			}
		}
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
	if at, alike := follow(crop, in, size, w, h); alike < 0.95 || at != image.Pt(51, 37) {
		t.Errorf("found at %v (alike to %.2f), cut at (51, 37)", at, alike)
	}
	if at, alike := follow(grain(r, size, size, 0, 1), in, size, w, h); alike >= foundFrom {
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
