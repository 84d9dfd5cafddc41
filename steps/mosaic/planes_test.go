package mosaic

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/steps/kernel/plane"
)

// sheetOf is a panel in memory whose pixel (0, 0) lies at a place of the joined picture.
func sheetOf(index int, v, full []float32, w, h int, at image.Point, lv level, sharp sharpness, sigma float64) *sheet {
	return sheetBetween(index, v, full, w, h, at, 0, lv, sharp, sigma)
}

// sheetBetween is sheetOf moved right and down by a part of a pixel.
func sheetBetween(index int, v, full []float32, w, h int, at image.Point, by float64, lv level, sharp sharpness, sigma float64) *sheet {
	if full == nil {
		full = make([]float32, w*h)
	}
	s := &sheet{index: index, w: w, h: h, channels: 1, toPanel: similarity{A: 1, X: -float64(at.X) - by, Y: -float64(at.Y) - by},
		levels: []level{lv}, sharp: sharp, box: image.Rect(0, 0, w, h).Add(at), noise: sigma, steady: 1}
	s.once.Do(func() {
		s.held = &held{plane.Of(w, h, v), voiceOf(v, slices.Repeat([]float32{1}, w*h), full, w, h),
			fineNoiseOf([][]float32{slices.Repeat([]float32{float32(sigma)}, w*h)}, w, h, 0)}
	})
	s.left.Store(math.MaxInt32)
	return s
}

// drawn is everything that is drawn of a rectangle.
func drawn(t *testing.T, sheets []*sheet, r image.Rectangle) (out [noisePlane + 1][]float32) {
	t.Helper()
	dst := make([][][]float32, len(out))
	for i := range dst {
		out[i] = make([]float32, r.Dx()*r.Dy())
		dst[i] = [][]float32{out[i]}
	}
	if err := drawTile(sheets, r, dst); err != nil {
		t.Fatal(err)
	}
	return out
}

// Two panels of nothing but white noise: what is left of it in the joined picture is what the noise plane says, where one
// panel shows alone, where both do, and where they cross over.
func TestNoisePlaneOfWhiteNoise(t *testing.T) {
	const w, h, apart = 420, 300, 160
	rng := rand.New(rand.NewPCG(11, 3))
	white := func(sigma float64) []float32 {
		v := make([]float32, w*h)
		for i := range v {
			v[i] = float32(0.5 + sigma*rng.NormFloat64())
		}
		return v
	}
	r := image.Rect(0, 0, w+apart, h)
	// The second one is exposed half as long, and raised in its finest planes.
	dull := sharpness{-0.3, -0.2, -0.1}
	a := sheetOf(0, white(0.02), nil, w, h, image.Point{}, level{1, 0}, sharpness{}, 0.02)
	b := sheetBetween(1, white(0.012), nil, w, h, image.Pt(apart, 0), 0.25, level{2, -0.5}, dull, 0.012)
	got := drawn(t, []*sheet{a, b}, r)
	for _, c := range []struct {
		what     string
		from, to int
		panels   float32
		source   float32
	}{{"first alone", 8, apart, 1, 0}, {"crossing over", apart + 1, apart + 40, 2, 0}, {"both", apart + 60, w - 60, 2, -1},
		{"crossing back", w - 40, w - 1, 2, 1}, {"second alone", w, r.Dx() - 8, 1, 1}} {
		var seen, said float64
		for y := 8; y < h-8; y++ {
			for x := c.from; x < c.to; x++ {
				i := y*r.Dx() + x
				d := float64(got[imagePlane][i]) - 0.5
				seen += d * d
				said += float64(got[noisePlane][i]) * float64(got[noisePlane][i])
				if n := got[coveragePlane][i]; n != c.panels {
					t.Fatalf("%s: %g panels at %d, %d, want %g", c.what, n, x, y, c.panels)
				}
				if s := got[sourcePlane][i]; c.source >= 0 && y > 60 && y < h-60 && s != c.source {
					t.Fatalf("%s: the panel that counts most at %d, %d is %g", c.what, x, y, s)
				}
			}
		}
		// 11,000 pixels and more, nearly independent: 1.5 % of the variance, one standard deviation.
		if ratio := seen / said; math.Abs(ratio-1) > 0.06 {
			t.Errorf("%s: the noise's variance is %.3f of what the plane says", c.what, ratio)
		}
	}
}

// Where a dark corner was raised, with its noise, the weight plane says so: by the square of the share of light there.
func TestWeightOfADarkCorner(t *testing.T) {
	const w, h = 200, 150
	f := falloff{Found: true, A: -0.4}
	f.normalise()
	s := sheetOf(0, slices.Repeat([]float32{0.5}, w*h), nil, w, h, image.Point{}, level{1, 0}, sharpness{}, 0.01)
	s.falloff = &f
	got := drawn(t, []*sheet{s}, image.Rect(0, 0, w, h))
	for _, c := range [2]image.Point{{w / 2, h / 2}, {12, 12}} {
		want := f.share(sensorPlace(float64(c.X), float64(c.Y), w, h))
		if v := float64(got[weightPlane][c.Y*w+c.X]); math.Abs(v-want*want) > 0.005 {
			t.Errorf("at %v the weight is %.4f, want %.4f", c, v, want*want)
		}
	}
}

// The starlet's planes and what is left add up to the picture, so their kinship sums to one; the planes' own noise is that of
// Starck & Murtagh 2002, table 2.1: 0.889, 0.200, 0.086.
func TestKinshipOfPlanes(t *testing.T) {
	if v := (shares{1, 1, 1, 1}).variance(); math.Abs(float64(v)-1) > 1e-5 {
		t.Errorf("the whole has the variance %g, want 1", v)
	}
	for j, want := range []float64{0.889, 0.200, 0.086} {
		if got := math.Sqrt(float64(kinship[j][j])); math.Abs(got-want) > 2e-3 {
			t.Errorf("plane %d has %.4f of white noise, want %.3f", j, got, want)
		}
	}
}

func TestNothingShownIsNaN(t *testing.T) {
	got := drawn(t, []*sheet{nil}, image.Rect(0, 0, 20, 10))
	for _, p := range []int{imagePlane, sourcePlane, noisePlane} {
		if v := got[p][33]; v == v {
			t.Errorf("plane %d is %g where no panel shows anything", p, v)
		}
	}
	if got[coveragePlane][33] != 0 || got[weightPlane][33] != 0 {
		t.Error("there is coverage or weight where no panel shows anything")
	}
}
