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

// A cast of the sky, the glass and the camera's filters goes: lit ground that is grey comes out within half a ΔE00 of grey. Of colours so
// near to grey ΔE00 is at most 1.5 times the distance in a* and b* (CIEDE2000 stretches a* by 1 + G, with G up to a half).
func TestCastGoes(t *testing.T) {
	grey := halfMoon(0.01)
	m := plane.New(grey.W, grey.H, 3)
	for i, v := range grey.Pix[0] {
		m.Pix[0][i], m.Pix[1][i], m.Pix[2][i] = 0.55*v, 0.9*v, 0.7*v
	}
	l, err := surveyImage(m).measure(100)
	if err != nil {
		t.Fatal(err)
	}
	l.level(m)
	newTones(newCurve(0.2, l.White/l.Large), true).apply(m.Pix)
	light := func(v float32) float64 {
		if v <= 0.04045 {
			return float64(v) / 12.92
		}
		return math.Pow((float64(v)+0.055)/1.055, 2.4)
	}
	f := math.Cbrt // of lit ground, whose light is above the straight piece of CIELAB
	seen := 0
	for i, v := range grey.Pix[0] {
		if v < 0.3 {
			continue
		}
		seen++
		r, g, b := light(m.Pix[0][i]), light(m.Pix[1][i]), light(m.Pix[2][i])
		x := (.4123908*r + .3575843*g + .1804808*b) / .9504559
		y := .2126390*r + .7151687*g + .0721923*b
		z := (.0193308*r + .1191948*g + .9505322*b) / 1.0890578
		if e := 1.5 * math.Hypot(500*(f(x)-f(y)), 200*(f(y)-f(z))); e > 0.5 {
			t.Fatalf("pixel %d, of %g of light, is %.2f ΔE off grey", i, v, e)
		}
	}
	if seen < 5000 {
		t.Fatalf("only %d pixels were lit", seen)
	}
}
