package stacks

import (
	"math"
	"testing"

	"plenilune/pipeline/pipelinetest"
)

// spoil paints a bright trail into one frame of a film and a dark blot into another, and returns the rows and columns of
// each, in the frame.
func spoil(f pipelinetest.File) {
	put := func(frame, x, y int, v byte) {
		at := 2 * ((frame*sceneH+y)*sceneW + x)
		f[at], f[at+1] = v, v
	}
	for x := range sceneW {
		for y := 39; y < 42; y++ {
			put(18, x, y, 0xf8)
		}
	}
	for y := 60; y < 70; y++ {
		for x := 70; x < 85; x++ {
			put(17, x, y, 0)
		}
	}
}

func TestGateLeavesOutWhatIsNotTheMoon(t *testing.T) {
	clean, pt := stackOf(t, 2, 20, 0.003, 1, false)
	spoilt, ps := stackOfFilm(t, 2, 20, 0.003, 1, false, spoil)
	if pt.Width != ps.Width || pt.Height != ps.Height {
		t.Fatalf("panels of %d×%d and %d×%d px", pt.Width, pt.Height, ps.Width, ps.Height)
	}
	a, b := clean.Plane("image").Pix[0], spoilt.Plane("image").Pix[0]
	var inside, rim float64
	for i, v := range a {
		if v != v {
			continue
		}
		d := math.Abs(float64(v - b[i]))
		if x, y := i%pt.Width, i/pt.Width; min(x, y, pt.Width-1-x, pt.Height-1-y) < 8 {
			rim = max(rim, d)
		} else {
			inside = max(inside, d)
		}
	}
	// What passes is half of the range nearby, here up to 0.3, a quarter of the light, 0.5, eight times the noise, and the
	// tenth that the trail has in the reference, of one frame of 20, which has 1.2 times the weight of a usual one. At the
	// rim the reference knows nothing, and the trail shows what it does.
	if most := 1.2 * (0.5*0.3 + 0.25*0.5 + 8*0.003 + 0.05) / 20; inside > most || rim < 1.5*most {
		t.Errorf("the stack differs by up to %.4f of white inside, %.4f at the rim; want %.4f inside at most", inside, rim, most)
	}
	count := spoilt.Plane("count").Pix[0]
	// Frame 18 is displaced by −0.37·3 px and 0 px; the air moves it by 1.2 px at most.
	y, x := 40-ps.ReferenceY, pt.Width/2
	if got := count[y*ps.Width+x]; got != 19 {
		t.Errorf("%v frames were added on the trail, want 19", got)
	}
	if got := count[20*ps.Width+x]; got != 20 {
		t.Errorf("%v frames were added beside it, want 20", got)
	}
}

// A place whose light lies between that of its surroundings passes, and what lies far outside does not.
func TestGateByHand(t *testing.T) {
	const w, h = 12, 1
	nan := float32(math.NaN())
	ref := []float32{0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.4, 0.4, 0.4, 0.4, nan}
	g := newGate(ref, canvas{W: w, H: h}, []float32{1}, func(float32) float32 { return 0.001 })
	// Far from the step: 0.2 ± (0.25·0.2 + 8·0.001).
	if lo, hi := g.low[0], g.high[0]; math.Abs(float64(lo)-0.142) > 1e-6 || math.Abs(float64(hi)-0.258) > 1e-6 {
		t.Errorf("limits %v to %v, want 0.142 to 0.258", lo, hi)
	}
	// Within 3 px of the step: 0.2 − m to 0.4 + m with m = 0.5·0.2 + 0.25·0.4 + 0.008.
	if lo, hi := g.low[5], g.high[5]; math.Abs(float64(lo)+0.008) > 1e-6 || math.Abs(float64(hi)-0.608) > 1e-6 {
		t.Errorf("limits %v to %v, want −0.008 to 0.608", lo, hi)
	}
	// Near the unknown everything passes.
	if lo, hi := g.low[9], g.high[9]; !math.IsInf(float64(lo), -1) || !math.IsInf(float64(hi), 1) {
		t.Errorf("limits %v to %v beside the unknown, want none", lo, hi)
	}
}
