package mosaic

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// exposed is what a camera makes of ground: so many times as much light, noise, and nothing above white. full marks what is
// as bright as white.
func exposed(ground func(x, y int) float64, at image.Point, w, h int, exposure, offset, noise float64, seed uint64) (v, full []float32) {
	rng := rand.New(rand.NewPCG(seed, 21))
	v, full = make([]float32, w*h), make([]float32, w*h)
	for i := range v {
		s := exposure*ground(at.X+i%w, at.Y+i/w) + offset + noise*rng.NormFloat64()
		if v[i] = float32(min(s, 1)); s >= 0.99 {
			full[i] = 1
		}
	}
	return v, full
}

// bright is ground between 0.05 and 0.6, of slopes and ripples.
func bright(x, y int) float64 {
	u, v := float64(x), float64(y)
	return 0.3 + 0.2*math.Sin(u/90)*math.Cos(v/70) + 0.05*math.Sin(u/7+v/11)
}

// Takes of one ground exposed up to eight times as long as each other, the long ones overexposed: each one's factor is
// found, from what is not overexposed.
func TestLevelsOfExposuresUpToEight(t *testing.T) {
	const w, h, apart = 240, 200, 160
	exposure := []float64{1, 2, 8, 4, 1}
	const offset, noise = 0.01, 0.004
	dim := func(x, y int) float64 { return 0.4 * bright(x, y) }
	var looks []blocks
	for i, e := range exposure {
		at := image.Pt(i*apart, 0)
		v, full := exposed(dim, at, w, h, e, offset, noise, uint64(i))
		p := panel{w, h, v}
		if err := p.without(panel{w, h, full}); err != nil {
			t.Fatal(err)
		}
		looks = append(looks, blocksOf(p, flat(similarity{A: 1, X: float64(at.X)})))
	}
	in := slices.Repeat([]bool{true}, len(exposure))
	var ties []toneTie
	for j := range looks {
		for i := range j {
			ties = append(ties, toneTies(i, j, &looks[i], &looks[j])...)
		}
	}
	lv, err := matchLevels(len(in), in, ties, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range exposure {
		// Blocks of 64 pixels have 5e-4 of noise, and there are dozens in an overlap.
		if got := lv[i].Factor * e / lv[0].Factor; math.Abs(got-1) > 0.01 {
			t.Errorf("panel %d, exposed %g times, shows ground %.4f times as bright as the first", i, e, got)
		}
		for _, g := range []float64{0.03, 0.12} {
			one := lv[0].Factor*(g+offset) + lv[0].Offset
			if d := lv[i].Factor*(e*g+offset) + lv[i].Offset - one; math.Abs(d) > 0.01*one {
				t.Errorf("panel %d, exposed %g times, shows ground of %g by %.4f off %.4f", i, e, g, d, one)
			}
		}
	}
}

// Ground that a long exposure shows white is taken from the short one beside it, whole, and nothing shows where the one
// gives way to the other.
func TestOverexposedGroundYields(t *testing.T) {
	const w, h = 400, 300
	const noise = 0.002
	short, none := exposed(bright, image.Point{}, w, h, 1, 0, noise, 1)
	long, full := exposed(bright, image.Point{}, w, h, 4, 0, noise, 2)
	a := sheetOf(0, short, none, w, h, image.Point{}, level{1, 0}, sharpness{}, noise)
	b := sheetOf(1, long, full, w, h, image.Point{}, level{0.25, 0}, sharpness{}, noise/4)
	r := image.Rect(0, 0, w, h)
	got := drawn(t, []*sheet{a, b}, r)
	var worst, lost float64
	for y := 40; y < h-40; y++ {
		for x := 40; x < w-40; x++ {
			i := y*w + x
			d := float64(got[imagePlane][i]) - bright(x, y)
			worst = max(worst, math.Abs(d))
			lost = max(lost, bright(x, y)-0.25)
			if full[i] > 0 && got[sourcePlane][i] != 0 {
				t.Fatalf("at %d, %d, where the long exposure is white, it counts most", x, y)
			}
		}
	}
	// Two hundredths of what the long one lacks is what it still says, and five of the short one's standard deviations.
	if limit := fullSay*lost + 5*noise; worst > limit {
		t.Errorf("the joined picture is up to %.4f off the ground, of which up to %.3f lies above white; want ≤ %.4f", worst, lost, limit)
	}
}

// Where nothing else shows it, overexposed ground stays as it is: white is no hole.
func TestOverexposedGroundAloneStays(t *testing.T) {
	const w, h = 120, 100
	v, full := slices.Repeat([]float32{1}, w*h), slices.Repeat([]float32{1}, w*h)
	got := drawn(t, []*sheet{sheetOf(0, v, full, w, h, image.Point{}, level{0.5, 0}, sharpness{}, 0.001)}, image.Rect(0, 0, w, h))
	for i, s := range got[imagePlane] {
		if math.Abs(float64(s)-0.5) > 1e-6 {
			t.Fatalf("pixel %d is %g, want 0.5", i, s)
		}
	}
	if k := got[weightPlane][50*w+60]; k > 2*fullSay {
		t.Errorf("white ground has the weight %g, want next to nothing", k)
	}
}

// A panel whose noise is eight times the others' says next to nothing in fine detail; one with twice their noise as much.
func TestSteadiness(t *testing.T) {
	for _, c := range []struct{ sigma, usual, least, most float64 }{{1, 1, 1, 1}, {0.2, 1, 1, 1}, {2, 1, 1, 1}, {8, 1, 1. / 64, 1. / 60}, {3, 0, 1, 1}} {
		if got := float64(steadiness(c.sigma, c.usual)); got < c.least || got > c.most {
			t.Errorf("with a noise of %g among %g a panel counts %.4f, want %.4f…%.4f", c.sigma, c.usual, got, c.least, c.most)
		}
	}
}

// What is overexposed in a few frames is kept, what is in many is a hole; a table of another size is refused.
func TestWithoutWhatIsOverexposed(t *testing.T) {
	p := panel{3, 1, []float32{0.5, 0.6, 0.7}}
	if err := p.without(panel{3, 1, []float32{0, 0.05, 0.2}}); err != nil {
		t.Fatal(err)
	}
	if p.v[0] != 0.5 || p.v[1] != 0.6 || p.v[2] == p.v[2] {
		t.Errorf("left are %v, want 0.5, 0.6 and a hole", p.v)
	}
	if p.without(panel{2, 1, []float32{0, 0}}) == nil {
		t.Error("a table of another size was taken")
	}
}

// Ground is lost where all that show it are overexposed, and not where one of them is not.
func TestGroundOverexposedEverywhere(t *testing.T) {
	const w, h = 100, 50
	c := mapFor(geometry{Width: 2 * w, Height: h})
	v := slices.Repeat([]float32{0.9}, w*h)
	full, none := slices.Repeat([]float32{1}, w*h), make([]float32, w*h)
	// The first two lie over each other, the third beside them.
	var seen []tonesSeen
	for _, s := range []struct {
		full []float32
		x    float64
	}{{full, 0}, {none, 0}, {full, w}} {
		seen = append(seen, tonesSeen{placed: true, glimpse: c.glimpse(panel{w, h, v}, panel{w, h, s.full}, flat(similarity{A: 1, X: s.x}), tonalRange{Bright: 0.9})})
	}
	c.fill(seen, []level{{1, 0}, {1, 0}, {1, 0}})
	if got := c.overexposed(); math.Abs(got-0.5) > 0.02 {
		t.Errorf("%.3f of the ground is overexposed wherever it is shown, want a half", got)
	}
	c.fill([]tonesSeen{{placed: true, glimpse: c.glimpse(panel{w, h, v}, panel{w, h, none}, flat(similarity{A: 1, X: w}), tonalRange{Bright: 0.9})}}, []level{{1, 0}})
	if got := c.overexposed(); got > 0 {
		t.Errorf("%.3f of the ground is overexposed though a darker take shows it", got)
	}
}
