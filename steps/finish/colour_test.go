package finish

import (
	"math"
	"testing"

	"plenilune/steps/kernel/plane"
)

// chroma is the chromaticity x, y of linear light with the primaries of sRGB (matrix of IEC 61966-2-1).
func chroma(r, g, b float64) (x, y float64) {
	X := .4123908*r + .3575843*g + .1804808*b
	Y := .2126390*r + .7151687*g + .0721923*b
	Z := .0193308*r + .1191948*g + .9505322*b
	return X / (X + Y + Z), Y / (X + Y + Z)
}

func even(w, h int, rgb [3]float32) *plane.Image {
	m := plane.New(w, h, 3)
	for c := range 3 {
		for i := range m.Pix[c] {
			m.Pix[c][i] = rgb[c]
		}
	}
	return m
}

// Raised colours keep their luminance, and move straight away from white (x 0.3127, y 0.3290) in the plane of chromaticities: their dominant
// wavelength stays. Grey stays grey.
func TestBoostIsTrueToHue(t *testing.T) {
	for _, rgb := range [][3]float32{{0.5, 0.48, 0.45}, {0.3, 0.31, 0.34}, {0.2, 0.2, 0.2}} {
		m := even(40, 40, rgb)
		boost(m, 3)
		i := 20*40 + 20
		r, g, b := float64(m.Pix[0][i]), float64(m.Pix[1][i]), float64(m.Pix[2][i])
		was, is := luminance(rgb[0], rgb[1], rgb[2]), luminance(m.Pix[0][i], m.Pix[1][i], m.Pix[2][i])
		if math.Abs(float64(is/was-1)) > 1e-5 {
			t.Errorf("%v: luminance %g became %g", rgb, was, is)
		}
		x0, y0 := chroma(float64(rgb[0]), float64(rgb[1]), float64(rgb[2]))
		x1, y1 := chroma(r, g, b)
		a := [2]float64{x0 - .3127, y0 - .3290}
		c := [2]float64{x1 - .3127, y1 - .3290}
		if rgb[0] == rgb[2] {
			if math.Hypot(c[0], c[1]) > 2e-4 {
				t.Errorf("grey became (%.5f, %.5f)", x1, y1)
			}
			continue
		}
		if cross := a[0]*c[1] - a[1]*c[0]; math.Abs(cross) > 2e-4*math.Hypot(c[0], c[1]) {
			t.Errorf("%v: the hue turned: from %v to %v off white", rgb, a, c)
		}
		if grew := math.Hypot(c[0], c[1]) / math.Hypot(a[0], a[1]); grew < 2.4 || grew > 3.1 { // calmDark takes a few per cent
			t.Errorf("%v: the colour grew %.2f times, want about 3", rgb, grew)
		}
	}
}

// The noise of single pixels grows by a tenth of what it would if it were raised with the colour.
func TestBoostLeavesNoise(t *testing.T) {
	noisy := func() *plane.Image {
		m := even(96, 96, [3]float32{0.4, 0.4, 0.4})
		state := uint32(7)
		for c := range 3 {
			for i := range m.Pix[c] {
				state = state*1664525 + 1013904223
				m.Pix[c][i] += 0.04 * (float32(state>>8)/(1<<24) - 0.5)
			}
		}
		return m
	}
	spread := func(m *plane.Image) float64 { // of red against luminance
		sum := 0.0
		for i, r := range m.Pix[0] {
			d := float64(r - luminance(r, m.Pix[1][i], m.Pix[2][i]))
			sum += d * d
		}
		return math.Sqrt(sum / float64(len(m.Pix[0])))
	}
	m := noisy()
	boost(m, 6)
	if before, after := spread(noisy()), spread(m); after > 1.5*before {
		t.Errorf("the noise of colour grew %.2f times at a boost of 6", after/before)
	}
}

// The table is the curve, and a grey pixel of a colour picture is shown as it is in grey.
func TestTonesFollowTheCurve(t *testing.T) {
	for _, c := range []curve{newCurve(0.2, 1), newCurve(0.6, 1.7), newCurve(0, 6)} {
		grey, colour := newTones(c, false), newTones(c, true)
		worst := 0.0
		for i := -3; i <= 30000; i++ {
			u := c.most * float64(i) / 29990
			one := [][]float32{{float32(u)}}
			grey.apply(one)
			worst = math.Max(worst, math.Abs(float64(one[0][0]-c.at(u))))
			three := [][]float32{{float32(u)}, {float32(u)}, {float32(u)}}
			colour.apply(three)
			for _, p := range three {
				if math.Abs(float64(p[0]-one[0][0])) > 2e-6 {
					t.Fatalf("%+v: grey %g is %v in colour, %v in grey", c, u, p[0], one[0][0])
				}
			}
		}
		if worst > 3e-6 { // a fifth of a step of 16 bits
			t.Errorf("%+v: the table is off by %.2g", c, worst)
		}
	}
}

// The curve turns no hue, and what would be brighter than white in a channel is paled, not clipped.
func TestTonesKeepHue(t *testing.T) {
	c := newTones(newCurve(0.6, 1), true)
	for _, rgb := range [][3]float32{{0.5, 0.45, 0.4}, {0.1, 0.12, 0.15}, {1, 0.8, 0.6}, {1, 0.2, 0.1}} {
		pix := [][]float32{{rgb[0]}, {rgb[1]}, {rgb[2]}}
		c.apply(pix)
		light := [3]float64{}
		for k := range light {
			v := float64(pix[k][0])
			if v < 0 || v > 1 {
				t.Fatalf("%v: channel %d is %g", rgb, k, v)
			}
			light[k] = v / 12.92
			if v > 0.04045 {
				light[k] = math.Pow((v+0.055)/1.055, 2.4)
			}
		}
		was := float64(rgb[0]-rgb[1]) / float64(rgb[0]-rgb[2])
		if is := (light[0] - light[1]) / (light[0] - light[2]); math.Abs(is-was) > 2e-4 {
			t.Errorf("%v: the channels' differences were as 1 to %g, are as 1 to %g", rgb, was, is)
		}
	}
}
