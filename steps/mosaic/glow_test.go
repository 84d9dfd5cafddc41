package mosaic

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// glowNight is four by three panels with factors and glows, the outer ones with a stripe of sky at one side, and what comparing them finds.
func glowNight(strength float64, sky bool) (g glows, factors []float64, s shown) {
	const w, h = 240, 180
	rng := rand.New(rand.NewPCG(8, 1))
	var looks []blocks
	s = shown{in: slices.Repeat([]bool{true}, 12), sky: make([][]skyPlace, 12)}
	for k := range 12 {
		at := image.Pt(k%4*170, k/4*130)
		factors = append(factors, 0.9+0.2*rng.Float64())
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		g = append(g, glow{strength * cos, strength * sin})
		p := dimmed(at, w, h, falloff{}, factors[k], 0.004, uint64(k))
		for i := range p.v {
			p.v[i] += float32(0.01 + g[k].at(sensorPlace(float64(i%w), float64(i/w), w, h)))
		}
		looks = append(looks, blocksOf(p, flat(similarity{A: 1, X: float64(at.X), Y: float64(at.Y)})))
		for c := range 12 {
			if sky && (k%4 == 0 || k%4 == 3) {
				u, v := sensorPlace(float64(k%4/3*(w-16)+8), float64(c*16), w, h)
				s.sky[k] = append(s.sky[k], skyPlace{0.01 + g[k].at(u, v) + 0.0003*rng.NormFloat64(), u, v, 0})
			}
		}
	}
	for j := range looks {
		for i := range j {
			s.ties = append(s.ties, toneTies(i, j, &looks[i], &looks[j])...)
		}
	}
	return g, factors, s
}

// Known glows of 1 % of white are found to a quarter by overlaps and sky; overlaps alone leave at the most half. Either way all panels
// together do not tilt against the ground.
func TestGlowFound(t *testing.T) {
	for _, c := range []struct {
		sky bool
		rms float64
	}{{true, 0.0025}, {false, 0.005}} {
		truth, factors, s := glowNight(0.01, c.sky)
		lv, err := s.levels()
		if err != nil {
			t.Fatal(err)
		}
		light, err := findStray(s, lv)
		if err != nil {
			t.Fatal(err)
		}
		g, strength, unsure := light.glows, light.strength, light.unsure
		if g == nil {
			t.Fatalf("sky %v: no glow found: %.5f ± %.5f", c.sky, strength, unsure)
		}
		var off, u, v float64
		for i := range g {
			d := glow{g[i].U - truth[i].U, g[i].V - truth[i].V}
			off += d.strength() * d.strength() / float64(len(g))
			u, v = u+g[i].U*lv[i].Factor/float64(len(g)), v+g[i].V*lv[i].Factor/float64(len(g))
		}
		if off = math.Sqrt(off); off > c.rms {
			t.Errorf("sky %v: glows are %.4f off rms, want %.4f", c.sky, off, c.rms)
		}
		if !c.sky && max(math.Abs(u), math.Abs(v)) > 2e-4 {
			t.Errorf("all panels tilt by %.5f, %.5f", u, v)
		}
		if lv, err = s.less(light, lv).levels(); err != nil {
			t.Fatal(err)
		}
		for i := range lv {
			if got := lv[i].Factor * factors[i] / (lv[0].Factor * factors[0]); math.Abs(got-1) > 0.01 {
				t.Errorf("sky %v: panel %d shows its ground %.4f times as bright as the first", c.sky, i, got)
			}
		}
	}
}

// Where panels do not glow none is found, with sky or without.
func TestGlowNotInvented(t *testing.T) {
	for _, sky := range []bool{true, false} {
		_, _, s := glowNight(0, sky)
		lv, err := s.levels()
		if err != nil {
			t.Fatal(err)
		}
		light, err := findStray(s, lv)
		if err != nil || light.found() {
			t.Errorf("sky %v: found %+v, %v; want none", sky, light, err)
		}
	}
}

// The pixels of a panel lose the glow, and nothing else.
func TestGlowTakenOut(t *testing.T) {
	const w, h = 40, 30
	g := glow{0.02, -0.01}
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = 0.25 + float32(g.at(sensorPlace(float64(i%w), float64(i/w), w, h)))
	}
	pix[7] = nan32
	g.takeOut(pix, w, h)
	for i, v := range pix {
		if i == 7 && v == v || i != 7 && math.Abs(float64(v)-0.25) > 1e-7 {
			t.Fatalf("pixel %d is %g", i, v)
		}
	}
}

// Panels of a disk that glow by 2 % of white, each in another direction, with dark corners besides, join as if they did neither: the
// sky all about is of one level, and what glowed is told of each.
func TestGlowsJoin(t *testing.T) {
	dim := falloff{Found: true, A: -0.2}
	dim.normalise()
	g := diskGround()
	shots := diskShots()
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range shots {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		shots[i].glow, shots[i].dim = glow{0.02 * cos, 0.02 * sin}, dim
	}
	n := join(t, g, shots, 2)
	for i, p := range n.placements.Panels {
		if want := 2.0; math.Abs(p.Glow-want) > 0.3 {
			t.Errorf("panel %d is said to have glowed by %.2f %%, want %.1f %%", i, p.Glow, want)
		}
	}
	if want := 100 * dim.corner(); math.Abs(n.placements.Vignetting-want) > 0.5 {
		t.Errorf("the corners are said to be %.2f %% darker, want %.2f %%", n.placements.Vignetting, want)
	}
	s, _ := n.toGround()
	if v := n.psnr(g, s); v < 50 {
		t.Errorf("joined picture has a PSNR of %.1f dB against the ground, want ≥ 50", v)
	}
	l := n.placements.Limb
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range n.image.Pix[0] {
		if v == v && math.Hypot(float64(i%n.image.W)-l.X, float64(i/n.image.W)-l.Y) > l.Radius+15 {
			lo, hi = min(lo, float64(v)), max(hi, float64(v))
		}
	}
	if hi-lo > 0.008 {
		t.Errorf("sky is between %.4f and %.4f, want it level to 0.008", lo, hi)
	}
}

// What of the sky's light lies about the Moon alike in all panels is no panel's, however strong: with a halo of 2 % of white at the limb
// no glow is found.
func TestHaloIsNoGlow(t *testing.T) {
	truth := func(out float64) float64 { return 0.02 * math.Exp(-4*out) }
	_, _, s := glowNight(0, true)
	for i := range s.sky {
		for k := range s.sky[i] {
			p := &s.sky[i][k] // the limb lies 100 px within the panels' outer sides, and is 300 px in radius
			u, _ := sensorPlace(0, 0, 240, 180)
			p.Out = 0.05 + 0.2*(1+p.U/math.Abs(u))
			if i%4 == 0 {
				p.Out = 0.05 + 0.2*(1-p.U/math.Abs(u))
			}
			p.Value += truth(p.Out)
		}
	}
	lv, err := s.levels()
	if err != nil {
		t.Fatal(err)
	}
	light, err := findStray(s, lv)
	if err != nil {
		t.Fatal(err)
	}
	if light.glows != nil {
		t.Errorf("found glows of %.5f ± %.5f, want none", light.strength, light.unsure)
	}
}
