package calibrate

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/steps/kernel/plane"
)

var nan = float32(math.NaN())

// camera makes frames of a known scene: raw = scene·flat + dark, hot pixels stuck.
type camera struct {
	w, h               int
	scene, flat, dark  []float32
	hot                []int
	pattern            string
	r                  *rand.Rand
	noise              float64
	raysEvery, rayedAt int
}

func newCamera(pattern string) *camera {
	c := &camera{w: 40, h: 30, pattern: pattern, r: rand.New(rand.NewPCG(4, 4))}
	for i := range c.w * c.h {
		x, y := float64(i%c.w), float64(i/c.w)
		site := 1.0
		if Mosaicked(pattern) && (int(x)+int(y))%2 == 1 {
			site = 1.7
		}
		c.scene = append(c.scene, float32(site*(0.3+0.002*x+0.001*y)))
		c.flat = append(c.flat, float32(1-0.0008*((x-20)*(x-20)+(y-15)*(y-15))))
		c.dark = append(c.dark, float32(0.02+0.0001*x))
	}
	// One in the middle, two side by side, one in the corner.
	c.hot = []int{0, 12*40 + 17, 20*40 + 30, 20*40 + 31}
	return c
}

func (c *camera) shoot(light []float32) func(i int, dst *plane.Image) error {
	return func(_ int, dst *plane.Image) error {
		for i := range dst.Pix[0] {
			dst.Pix[0][i] = c.dark[i] + float32(c.noise*(c.r.Float64()+c.r.Float64()-1))
			if light != nil {
				dst.Pix[0][i] += light[i] * c.flat[i]
			}
		}
		for _, i := range c.hot {
			dst.Pix[0][i] += 0.4
		}
		if c.raysEvery++; c.raysEvery%5 == 0 {
			c.rayedAt = (c.rayedAt + 371) % (c.w * c.h)
			dst.Pix[0][c.rayedAt] += 0.5
		}
		return nil
	}
}

// clippedMean takes the mean of n frames in two passes.
func clippedMean(n, w, h, c int, k float64, read func(i int, dst *plane.Image) error) (*plane.Image, error) {
	m, frame := NewMean(w, h, c), plane.New(w, h, c)
	for pass := range 2 {
		for i := range n {
			if err := read(i, frame); err != nil {
				return nil, err
			}
			m.Add(frame, 0, h)
		}
		if pass == 0 {
			m.Limit(k)
		}
	}
	return m.Image(), nil
}

// (raw − dark) / ((flat − dark)/mean) gives the scene back, up to one factor a
// colour, to rounding.
func TestRoundTrip(t *testing.T) {
	for _, pattern := range []string{"mono", "RGGB"} {
		c := newCamera(pattern)
		const k = 3
		mean := func(light []float32) *plane.Image {
			m, err := clippedMean(12, c.w, c.h, 1, k, c.shoot(light))
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		dark := mean(nil)
		hot := HotPixels(dark, pattern, 8, 0.002)
		if !slices.Equal(hot, c.hot) {
			t.Errorf("%s: hot pixels %v, want %v", pattern, hot, c.hot)
		}
		white := make([]float32, c.w*c.h)
		for i := range white {
			white[i] = 0.5
		}
		flat := mean(white)
		Flat(flat, dark, pattern)
		raw := plane.New(c.w, c.h, 1)
		c.raysEvery = 0
		if err := c.shoot(c.scene)(0, raw); err != nil {
			t.Fatal(err)
		}
		Frame(raw, dark, flat, hot, pattern)
		ratio := map[int]float64{}
		for i, v := range raw.Pix[0] {
			tol := 1e-6
			if slices.Contains(hot, i) {
				tol = 0.005 // from its neighbours, on a slope
				if i == 0 {
					tol = 0.02
				}
			}
			site := 0
			if Mosaicked(pattern) {
				site = i%c.w%2 + 2*(i/c.w%2)
			}
			q := float64(v / c.scene[i])
			if _, ok := ratio[site]; !ok && !slices.Contains(hot, i) {
				ratio[site] = q
			}
			if r, ok := ratio[site]; ok && math.Abs(q/r-1) > tol {
				t.Fatalf("%s: pixel %d is %v of the scene, others %v", pattern, i, q, r)
			}
		}
	}
}

// With as few as six frames one cosmic ray leaves no trace, and the digitisation
// of a quiet dark is averaged, not clipped away.
func TestClippedMeanOfFew(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	const n, w, h = 6, 50, 40
	frames := make([][]float32, n)
	truth := 0.0
	for k := range frames {
		frames[k] = make([]float32, w*h)
		for i := range frames[k] {
			if r.IntN(10) == 0 {
				frames[k][i] = 1.0 / 255 // the lowest step of 8 bits, one time in ten
			}
			truth += float64(frames[k][i]) / (n * w * h)
		}
	}
	frames[3][777] = 1
	m, err := clippedMean(n, w, h, 1, 3.5, func(i int, dst *plane.Image) error {
		copy(dst.Pix[0], frames[i])
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if v := m.Pix[0][777]; v > 2.0/255 {
		t.Errorf("the ray left %v", v)
	}
	got := 0.0
	for _, v := range m.Pix[0] {
		got += float64(v) / (w * h)
	}
	if math.Abs(got/truth-1) > 0.25 {
		t.Errorf("mean level %v, want %v", got, truth)
	}
}

// The mean of N frames has σ/√N of noise, clipped or not.
func TestClippedMeanKeepsTheGain(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	const n, w, h = 25, 100, 100
	m, err := clippedMean(n, w, h, 2, 3, func(_ int, dst *plane.Image) error {
		for c, p := range dst.Pix {
			for i := range p {
				s := -6.0
				for range 12 {
					s += r.Float64()
				}
				p[i] = float32(s) + float32(c)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for c, p := range m.Pix {
		mean, ss := 0.0, 0.0
		for _, v := range p {
			mean += float64(v) / (w * h)
			ss += (float64(v) - float64(c)) * (float64(v) - float64(c)) / (w * h)
		}
		if got := math.Sqrt(ss * n); math.Abs(mean-float64(c)) > 0.01 || math.Abs(got-1) > 0.03 {
			t.Errorf("plane %d: mean %v, σ·√N %v, want %d, 1", c, mean, got, c)
		}
	}
}

// The values of astropy 5.2.1, stats.sigma_clip(…, sigma=3, maxiters=None).mean(),
// which judges by the median, again and again: whatever the rule, it is the outlier
// that goes, and nothing else. Neighbours have the same scatter and no outlier.
func TestClippedMeanAsAstropy(t *testing.T) {
	pixels := [][14]float32{
		{10.2, 9.7, 10.5, 9.9, 10.1, 9.4, 10.8, 10.0, 9.6, 10.3, 9.8, 10.6, 10.1, 60.0},
		{0.11, 0.13, 0.12, 0.10, 0.12, 0.14, 0.11, 0.12, 0.13, 0.12, 0.11, 0.13, 0.12, -0.9},
		{5, 6, 7, 5, 6, 7, 8, 5, 6, 7, 6, 6, 5, 7},
	}
	for k, want := range []float64{10.076923076923075, 0.12000000000000004, 6.142857142857143} {
		m, err := clippedMean(14, 200, 1, 1, 3, func(i int, dst *plane.Image) error {
			for x := range dst.Pix[0] {
				dst.Pix[0][x] = pixels[k][(i+x)%13]
			}
			dst.Pix[0][100] = pixels[k][i]
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := float64(m.Pix[0][100]); math.Abs(got-want) > 1e-6*math.Abs(want) {
			t.Errorf("pixel %d: %v, want %v", k, got, want)
		}
	}
}

// A frame by hand as the reduction of CCD frames is written since (Howell, Handbook of
// CCD Astronomy, 2nd ed. 2006, ch. 4: from the object the dark of its exposure, from
// the flat the dark of the flat's, the flat over its mean):
// (raw − dark) / ((flat − flatdark)/mean(flat − flatdark)).
func TestFlatWithADarkOfItsOwn(t *testing.T) {
	flat := plane.Of(4, 1, []float32{0.50, 0.60, 0.40, 0.50})
	flatDark := plane.Of(4, 1, []float32{0.02, 0.04, 0.02, 0.08}) // less it: 0.48, 0.56, 0.38, 0.42, in the mean 0.46
	dark := plane.Of(4, 1, []float32{0.05, 0.10, 0.05, 0.30})
	raw := plane.Of(4, 1, []float32{0.29, 0.38, 0.24, 0.51}) // less the dark: 0.24, 0.28, 0.19, 0.21
	Flat(flat, flatDark, "mono")
	Frame(raw, dark, flat, nil, "mono")
	for i, v := range raw.Pix[0] {
		if math.Abs(float64(v)-0.23) > 1e-6 { // half of the flat's light everywhere
			t.Errorf("pixel %d: %v, want 0.23", i, v)
		}
	}
}

func TestMeanOfOneAndNone(t *testing.T) {
	m := NewMean(2, 1, 1)
	m.Add(plane.Of(2, 1, []float32{3, nan}), 0, 1)
	m.Limit(3)
	m.Add(plane.Of(2, 1, []float32{3, nan}), 0, 1)
	if v := m.Image().Pix[0]; v[0] != 3 || v[1] == v[1] {
		t.Errorf("%v, want [3 NaN]", v)
	}
}

func TestSaturated(t *testing.T) {
	raw := plane.Of(3, 1, []float32{0.5, 0.99, 1}, []float32{0.995, 0.2, 1})
	mask := make([]bool, 3)
	if n := Saturated(mask, raw, SaturationLevel); n != 3 || !mask[0] || !mask[1] || !mask[2] {
		t.Errorf("%d: %v", n, mask)
	}
	if n := Saturated(mask, plane.Of(3, 1, []float32{0.5, 0.98, nan}), SaturationLevel); n != 0 || mask[1] {
		t.Errorf("%d: %v", n, mask)
	}
}

func TestFrameOfThreePlanes(t *testing.T) {
	f := plane.Of(2, 1, []float32{1, 1}, []float32{2, 2}, []float32{3, 3})
	// A dark of one plane serves all; a flat near nothing is held at its floor.
	Frame(f, plane.Of(2, 1, []float32{0.5, 0.5}), plane.Of(2, 1, []float32{1, 1e-9}), nil, "RGB")
	if f.Pix[0][0] != 0.5 || f.Pix[2][0] != 2.5 || f.Pix[1][1] != 30 {
		t.Errorf("%v", f.Pix)
	}
	defer func() {
		if recover() == nil {
			t.Error("a master of another size was taken")
		}
	}()
	Frame(f, plane.New(3, 3, 1), nil, nil, "RGB")
}

// A gain of the frame is a gain of the result.
func TestFrameIsLinear(t *testing.T) {
	c := newCamera("GRBG")
	a, b := plane.New(c.w, c.h, 1), plane.New(c.w, c.h, 1)
	for i, v := range c.scene {
		a.Pix[0][i], b.Pix[0][i] = v, 2*v
	}
	flat := plane.Of(c.w, c.h, c.flat)
	Frame(a, nil, flat, c.hot, "GRBG")
	Frame(b, nil, flat, c.hot, "GRBG")
	for i := range a.Pix[0] {
		if b.Pix[0][i] != 2*a.Pix[0][i] {
			t.Fatalf("pixel %d: %v and %v", i, a.Pix[0][i], b.Pix[0][i])
		}
	}
}

func BenchmarkFrame(b *testing.B) {
	f, dark, flat := plane.New(640, 480, 1), plane.New(640, 480, 1), plane.New(640, 480, 1)
	hot := make([]int, 300)
	for i := range hot {
		hot[i] = i * 1000
		flat.Pix[0][i] = 1
	}
	b.Run("640x480", func(b *testing.B) {
		for b.Loop() {
			Frame(f, dark, flat, hot, "RGGB")
		}
	})
	b.Run("mean/640x480", func(b *testing.B) {
		m := NewMean(640, 480, 1)
		for b.Loop() {
			m.Add(f, 0, 480)
		}
	})
}
