package mosaic

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// dimmed is what a sensor of w by h pixels shows of ground at a place, with a falloff, a pedestal and noise.
func dimmed(at image.Point, w, h int, f falloff, factor, noise float64, seed uint64) panel {
	rng := rand.New(rand.NewPCG(seed, 5))
	p := panel{w, h, make([]float32, w*h)}
	for i := range p.v {
		s := 1.0
		if f.Found {
			s = f.share(sensorPlace(float64(i%w), float64(i/w), w, h))
		}
		p.v[i] = float32(f.Pedestal + factor*s*bright(at.X+i%w, at.Y+i/w) + noise*rng.NormFloat64())
	}
	return p
}

// nightOf is three by three panels, factors up to a third apart, and what comparing them finds; the last has another size.
func nightOf(t *testing.T, f falloff) (panels []panel, factors []float64, s shown, has []bool) {
	t.Helper()
	var seen []tonesSeen
	var looks []blocks
	rng := rand.New(rand.NewPCG(3, 3))
	for k := range 9 {
		w, h := 240, 180
		at := image.Pt(k%3*170, k/3*130)
		own := f
		if k == 8 {
			w, own.Found = 200, false
		}
		factors = append(factors, 0.8+0.3*rng.Float64())
		panels = append(panels, dimmed(at, w, h, own, factors[k], 0.004, uint64(k)))
		seen = append(seen, tonesSeen{placed: true, w: w, h: h})
		looks = append(looks, blocksOf(panels[k], flat(similarity{A: 1, X: float64(at.X), Y: float64(at.Y)})))
	}
	s = shown{in: slices.Repeat([]bool{true}, 9), sky: make([][]skyPlace, 9)}
	for j := range looks {
		for i := range j {
			s.ties = append(s.ties, toneTies(i, j, &looks[i], &looks[j])...)
		}
	}
	return panels, factors, s, oneSensor(seen)
}

func (s shown) solve(t *testing.T, has []bool) (falloff, []level) {
	t.Helper()
	lv, err := s.levels()
	if err != nil {
		t.Fatal(err)
	}
	f, _, err := findFalloff(s, has, lv)
	if err != nil {
		t.Fatal(err)
	}
	if lv, err = s.even(&f, has).levels(); err != nil {
		t.Fatal(err)
	}
	return f, lv
}

// A known falloff on a pedestal is found to a half of a hundredth of the light all over the sensor, though a panel of another size has
// none; evened and levelled, every panel shows its ground in the same brightness, and the disk keeps its photometry.
func TestFalloffFound(t *testing.T) {
	truth := falloff{Found: true, A: -0.24, B: -0.03, C: 0.01, D: -0.015, Pedestal: 0.02}
	truth.normalise()
	panels, factors, s, has := nightOf(t, truth)
	if !slices.Equal(has, []bool{true, true, true, true, true, true, true, true, false}) {
		t.Fatalf("of one sensor are %v", has)
	}
	f, lv := s.solve(t, has)
	if !f.Found {
		t.Fatal("no falloff found")
	}
	overSensor(func(u, v float64) {
		if d := f.share(u, v) - truth.share(u, v); math.Abs(d) > 0.005 {
			t.Errorf("at %.2f, %.2f the share of light is %.4f, want %.4f", u, v, f.share(u, v), truth.share(u, v))
		}
	})
	if d := f.corner() - truth.corner(); math.Abs(d) > 0.005 {
		t.Errorf("the corners are %.4f darker, want %.4f", f.corner(), truth.corner())
	}
	if d := f.Pedestal - truth.Pedestal; math.Abs(d) > 0.01 {
		t.Errorf("the pedestal is %.4f, want %.4f", f.Pedestal, truth.Pedestal)
	}
	for k := range panels {
		if got := lv[k].Factor * factors[k] / (lv[0].Factor * factors[0]); math.Abs(got-1) > 0.01 {
			t.Errorf("panel %d shows its ground %.4f times as bright as the first", k, got)
		}
	}
	p := panels[4]
	f.evenOut(p.v, p.w, p.h)
	var middle, corner []float64
	for i, v := range p.v {
		x, y := i%p.w, i/p.w
		ratio := (float64(v) - truth.Pedestal) / bright(170+x, 130+y) / factors[4]
		switch {
		case max(x-120, 120-x) < 20 && max(y-90, 90-y) < 20:
			middle = append(middle, ratio)
		case x < 20 && y < 20:
			corner = append(corner, ratio)
		}
	}
	mean := func(v []float64) (m float64) {
		for _, x := range v {
			m += x / float64(len(v))
		}
		return m
	}
	if a, b := mean(middle), mean(corner); math.Abs(a-1) > 0.01 || math.Abs(b-1) > 0.01 {
		t.Errorf("evened, the ground is shown %.4f times as bright in the middle and %.4f times in a corner, want once", a, b)
	}
}

// Where there is no falloff none is found, and levels are to the bit what they are without looking for it.
func TestFalloffNotInvented(t *testing.T) {
	_, _, s, has := nightOf(t, falloff{Pedestal: 0.02})
	f, lv := s.solve(t, has)
	if f != (falloff{}) {
		t.Errorf("found %+v, want none", f)
	}
	want, err := matchLevels(len(s.in), s.in, s.ties, skyLevels(s.sky))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(lv, want) {
		t.Error("levels moved")
	}
	pix := []float32{0.1, nan32, 0.3, 0.4}
	if got := f.evenOut(slices.Clone(pix), 2, 2); got[0] != pix[0] || got[1] == got[1] || got[2] != pix[2] {
		t.Errorf("pixels became %v", got)
	}
}

// A mosaic of panels with dark corners, one of them turned about, is as true to its ground as one without.
func TestDarkCornersJoin(t *testing.T) {
	g := newGround(1, 560, 320, 1500)
	dim := falloff{Found: true, A: -0.22}
	dim.normalise()
	shots := grid(3, 2)
	shots[4].pose.Turn += math.Pi
	for i := range shots {
		shots[i].dim = dim
	}
	n := join(t, g, shots, 2)
	if want := 100 * dim.corner(); math.Abs(n.placements.Vignetting-want) > 0.5 {
		t.Errorf("the corners are said to be %.2f %% darker, want %.2f %%", n.placements.Vignetting, want)
	}
	s, _ := n.toGround()
	if v := n.psnr(g, s); v < 40 {
		t.Errorf("joined picture has a PSNR of %.1f dB against the ground, want ≥ 40", v)
	}
	checkLevels(t, n, 0.005)
}

// Two overlaps agree about everything by chance: however dark the corners, nothing is said of them.
func TestFalloffOfTooFewOverlaps(t *testing.T) {
	_, _, s, has := nightOf(t, falloff{Found: true, A: -0.3, Mean: 1})
	s.ties = slices.DeleteFunc(s.ties, func(t toneTie) bool { return t.B > 2 })
	if f, _ := s.solve(t, has); f != (falloff{}) {
		t.Errorf("found %+v, want none", f)
	}
}
