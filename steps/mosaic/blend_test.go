package mosaic

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/steps/kernel/plane"
)

// inner is the rectangle of a blend for which a picture of w by h is drawn widely enough.
func inner(w, h int) image.Rectangle { return image.Rect(0, 0, w, h).Inset(margin) }

// evenSays is the same say everywhere.
func evenSays(r image.Rectangle, v float32) says {
	k := says{wide: slices.Repeat([]float32{v}, r.Dx()*r.Dy())}
	for j := range k.fine {
		k.fine[j] = k.wide
	}
	return k
}

// cutInner takes that rectangle out of a picture.
func cutInner(v []float32, w, h int) []float32 {
	var out []float32
	r := inner(w, h)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		out = append(out, v[y*w+r.Min.X:y*w+r.Max.X]...)
	}
	return out
}

func worst(a, b []float32) (d float64) {
	for i := range a {
		if (a[i] == a[i]) != (b[i] == b[i]) {
			return math.Inf(1)
		}
		if a[i] == a[i] {
			d = max(d, math.Abs(float64(a[i]-b[i])))
		}
	}
	return d
}

// Blending equal pictures gives that picture whatever the weights are (Burt & Adelson 1983), also where one has a hole, and
// a constant is kept by every gain.
func TestEqualPicturesBlendToThemselves(t *testing.T) {
	const w, h = 150, 110
	rng := rand.New(rand.NewPCG(5, 5))
	s := scene(5, w, h)
	r := inner(w, h)
	uneven := func() says {
		k := says{wide: make([]float32, r.Dx()*r.Dy())}
		for j := range k.fine {
			k.fine[j] = make([]float32, len(k.wide))
		}
		for i := range k.wide {
			k.wide[i] = 0.01 + rng.Float32()
			for j := range k.fine {
				k.fine[j][i] = 0.01 + rng.Float32()
			}
		}
		return k
	}
	b := newBlend(r, 1)
	for range 3 {
		b.add(r, plane.Of(w, h, s), uneven(), []level{{1, 0}}, sharpness{}, 0)
	}
	if d := worst(b.finish()[0], cutInner(s, w, h)); d > 1e-6 {
		t.Errorf("three equal pictures blend to one %g off", d)
	}
	flat := slices.Repeat([]float32{0.7}, w*h)
	holed := slices.Clone(flat)
	holed[50*w+60], holed[51*w+60] = nan32, nan32
	b = newBlend(r, 1)
	b.add(r, plane.Of(w, h, flat), uneven(), []level{{1, 0}}, sharpness{0.2, -0.1, 0.4}, 0)
	b.add(r, plane.Of(w, h, holed), uneven(), []level{{1, 0}}, sharpness{-0.2, 0.3, -0.4}, 0)
	if d := worst(b.finish()[0], cutInner(flat, w, h)); d > 1e-6 {
		t.Errorf("a constant blends to one %g off", d)
	}
	b = newBlend(r, 1)
	b.add(r, plane.Of(w, h, holed), uneven(), []level{{2, 0.1}}, sharpness{}, 0)
	want := cutInner(holed, w, h)
	for i, v := range want {
		want[i] = 2*v + 0.1
	}
	if d := worst(b.finish()[0], want); d > 1e-6 {
		t.Errorf("a hole that nobody fills, or the level beside it, is %g off", d)
	}
}

// Two panels with noise of their own have 1/√2 of it where both speak up; one evened up by a gain counts by its inverse square,
// which gives the least noise that two numbers of unequal noise can have: 1/σ² = 1/σ₁² + 1/σ₂².
func TestNoiseOfTwoPanels(t *testing.T) {
	const w, h = 220, 200
	sigma := 0.2 / math.Sqrt(3) // of four even numbers, 0.2 wide each
	r := inner(w, h)
	finest := func(add func(b *blend)) float64 {
		b := newBlend(r, 1)
		add(b)
		out := b.finish()[0]
		planes, _, _ := split(out, r.Dx(), r.Dy())
		var sum float64
		for _, v := range planes[0] {
			sum += float64(v) * float64(v)
		}
		return math.Sqrt(sum / float64(len(planes[0])))
	}
	one, two := plane.Of(w, h, scene(6, w, h)), plane.Of(w, h, scene(7, w, h))
	alone := finest(func(b *blend) { b.add(r, one, evenSays(r, 1), []level{{1, 0}}, sharpness{}, sigma) })
	both := finest(func(b *blend) {
		b.add(r, one, evenSays(r, 1), []level{{1, 0}}, sharpness{}, sigma)
		b.add(r, two, evenSays(r, 1), []level{{1, 0}}, sharpness{}, sigma)
	})
	// 36,000 pixels, about as many independent values: 0.5 % each.
	if got := both / alone; math.Abs(got-math.Sqrt(0.5)) > 0.02 {
		t.Errorf("two panels have %.3f of one's noise, want 0.707", got)
	}
	dull := sharpness{-0.35, -0.35, -0.35}
	g := dull.gain(0)
	raised := finest(func(b *blend) {
		b.add(r, one, evenSays(r, 1), []level{{1, 0}}, sharpness{}, sigma)
		b.add(r, two, evenSays(r, 1), []level{{1, 0}}, dull, sigma)
	})
	if got, want := raised/alone, 1/math.Sqrt(1+1/(g*g)); math.Abs(got-want) > 0.02 {
		t.Errorf("with a panel raised %.2f times there is %.3f of the noise, want %.3f", g, got, want)
	}
}

// Evening two blurs of one scene brings them nearer to each other.
func TestBlendEvensTwoBlurs(t *testing.T) {
	const w, h = 160, 128
	r := inner(w, h)
	s := scene(4, w, h)
	var sharp sharpness
	for j := range sharp {
		sharp[j] = 0.25 * math.Log(starletPower(j, 1.2)/starletPower(j, 1.5))
	}
	draw := func(sigma, sign float64) []float32 {
		b, k := newBlend(r, 1), sharp
		for j := range k {
			k[j] *= sign
		}
		b.add(r, plane.Of(w, h, smooth(s, w, h, sigma)), evenSays(r, 1), []level{{1, 0}}, k, 0)
		return b.finish()[0]
	}
	apart := func(a, b []float32) (sum float64) {
		for i, v := range a {
			sum += float64(v-b[i]) * float64(v-b[i])
		}
		return sum
	}
	// Three gains cannot follow the ratio of two Gaussians to the end: a quarter, because about a fifth is left.
	before, after := apart(draw(1.2, 0), draw(1.5, 0)), apart(draw(1.2, 1), draw(1.5, -1))
	if after > 0.25*before {
		t.Errorf("what differs keeps %.3f of its power", after/before)
	}
}

// A band crosses over within a few of its own scales, the broad picture over a sixth of the panel.
func TestEachBandHasItsReach(t *testing.T) {
	const w, h = 300, 240
	v, one := make([]float32, w*h), slices.Repeat([]float32{1}, w*h)
	s := voiceOf(v, one, make([]float32, w*h), w, h)
	for _, c := range []struct {
		at, reach float32
		least     float32
	}{{fineReach, fineReach, 0.99}, {2 * fineReach, 2 * fineReach, 0.99}, {40, s.wide, 0.99}} {
		far, weight := s.at(float64(c.at)-1, 120)
		if far != c.at || weight != 1 {
			t.Errorf("%g px from the border: distance %g, weight %g", c.at, far, weight)
		}
		if got := say(far, weight, c.reach); got < c.least {
			t.Errorf("at its reach of %g px a band says %g, want 1", c.reach, got)
		}
		if got := say(far/2, weight, c.reach); math.Abs(float64(got)-0.5) > 1e-6 {
			t.Errorf("half-way to its reach of %g px a band says %g, want 0.5", c.reach, got)
		}
	}
	if got := say(0.01, 0, fineReach); got != float32(leastSay) {
		t.Errorf("a pixel without weight says %g, want %g", got, leastSay)
	}
	if far, _ := s.at(-0.5, 10); far != 0 {
		t.Errorf("outside, the distance is %g", far)
	}
}
