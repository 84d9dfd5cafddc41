package detail

import (
	"math"
	"testing"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/wavelet"
)

// disk is a disk of radius r, lit from the right with a terminator, its limb
// blurred by a Gaussian of sigma pixels.
func disk(size int, r, sigma float64) *plane.Image {
	m := plane.New(size, size, 1)
	c := float64(size-1) / 2
	for i := range m.Pix[0] {
		dx, dy := float64(i%size)-c, float64(i/size)-c
		light := 0.7 * math.Max(0, 0.45+dx/(2*r))
		edge := 0.5 * math.Erfc((math.Hypot(dx, dy)-r)/(sigma*math.Sqrt2))
		m.Pix[0][i] = float32(0.004 + light*edge)
	}
	return m
}

// overshoot returns by how much the radial profile toward the right rises above
// the ground before the limb, and falls below the sky beyond it, in per cent of
// the limb's contrast; and its steepest fall per pixel.
func overshoot(pix []float32, size int, r float64) (over, under, steep float64) {
	c := size / 2
	row := pix[c*size : (c+1)*size]
	limb := c + int(r)
	ground, sky := float64(row[limb-24]), float64(row[limb+30])
	slope := float64(row[limb-24]-row[limb-34]) / 10 // the light grows toward the limb
	for x := limb - 20; x < limb+20; x++ {
		straight := ground + slope*float64(x-limb+24)
		over = max(over, 100*(float64(row[x])-straight)/(ground-sky))
		under = max(under, 100*(sky-float64(row[x]))/(ground-sky))
		steep = max(steep, float64(row[x]-row[x+1]))
	}
	return over, under, steep
}

func TestLimbGrowsSteepAndDoesNotRing(t *testing.T) {
	const size, r = 401, 150.0
	for _, sigma := range []float64{1.5, 2, 3} {
		m := disk(size, r, sigma)
		l := takeApart(t, m, nil)
		if got := l.about().LimbSigmaPx; math.Abs(got/sigma-1) > 0.12 {
			t.Errorf("a blur of %v px is measured at the limb as %v px", sigma, got)
		}
		strong := []bandSettings{{ScalePx: 2, Boost: 3}, {ScalePx: 4, Boost: 3}, {ScalePx: 8, Boost: 2}, {ScalePx: 16, Boost: 1.5}}
		_, _, was := overshoot(m.Pix[0], size, r)
		modest := []bandSettings{{ScalePx: 2, Boost: 1.9, FloorSigma: 1.5}, {ScalePx: 4, Boost: 1.6, FloorSigma: 1.2}, {ScalePx: 8, Boost: 1.2, FloorSigma: 0.8}}
		pix := l.recombine(t, modest...).Plane("image").Pix[0]
		over, under, steep := overshoot(pix, size, r)
		if over > 1.5 || under > 1.5 || steep < 1.15*was {
			t.Errorf("blur %v px, modest: %.2f %% bright rim, %.2f %% dark rim, falls by %v a pixel, before by %v", sigma, over, under, steep, was)
		}
		// The same bands as they come, without the guard, do ring.
		planes, rest := wavelet.Starlet(m.Pix[0], size, size, levels)
		bare, _ := newRecipe(strong, 0)
		for j, p := range planes {
			for i, v := range p {
				rest[i] += bare.gain(j, 1, 0) * v
			}
		}
		bareOver, bareUnder, _ := overshoot(rest, size, r)
		over, under, _ = overshoot(l.recombine(t, strong...).Plane("image").Pix[0], size, r)
		if bareOver < 15 || bareUnder < 15 || over > bareOver/4 || under > bareUnder/4 {
			t.Errorf("blur %v px, strong: rims of %.2f and %.2f %%, without the guard %.2f and %.2f %%", sigma, over, under, bareOver, bareUnder)
		}
	}
}

func TestSteepeningIsWhatTheBandsDoToAnEdge(t *testing.T) {
	const size = 301
	for _, sigma := range []float64{1.2, 2, 4} {
		edge := make([]float32, size*size)
		for i := range edge {
			edge[i] = float32(0.5 * math.Erfc((float64(i%size)-150)/(sigma*math.Sqrt2)))
		}
		r, _ := newRecipe([]bandSettings{{ScalePx: 2, Boost: 1.8}, {ScalePx: 5, Boost: 2}}, 0)
		planes, rest := wavelet.Starlet(edge, size, size, levels)
		for j, p := range planes {
			for i, v := range p {
				rest[i] += r.gain(j, 1, 0) * v
			}
		}
		at := 150*size + 150
		want := float64(rest[at-1]-rest[at+1]) / float64(edge[at-1]-edge[at+1])
		if got := r.steepening(sigma); math.Abs(got/want-1) > 0.06 { // a difference over 2 px is not the slope itself
			t.Errorf("blur %v px: steepening %v, the bands make it %v", sigma, got, want)
		}
		var none recipe
		if got := none.steepening(sigma); math.Abs(got-1) > 1e-6 {
			t.Errorf("no band steepens by %v", got)
		}
	}
}

func TestTerminatorIsNoLimb(t *testing.T) {
	const size, r = 401, 150.0
	trust := takeApart(t, disk(size, r, 2), nil).apart.Plane("guard").Pix[0]
	for x := 60; x < 320; x++ { // from deep in the night over the terminator to well inside the limb
		if k := trust[200*size+x]; k < 0.99 {
			t.Fatalf("detail at x = %d, %d px from the middle of the disk, is used by %v", x, x-200, k)
		}
	}
	if k := trust[200*size+351]; k > 0.01 {
		t.Errorf("detail on the limb is used by %v", k)
	}
}
