package frames

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/plane"
)

// lens draws an evenly lit field: vignetting, dust, noise of a mean of many frames.
func lens(w, h int, noise float64) *plane.Image {
	r := rand.New(rand.NewPCG(9, 9))
	img := plane.New(w, h, 1)
	for i := range img.Pix[0] {
		x, y := 2*float64(i%w)/float64(w)-1.1, 2*float64(i/w)/float64(h)-0.9
		v := 0.6 / math.Pow(1+0.12*(x*x+y*y), 2) // cos⁴ of the angle, with a half field of 19°
		for _, d := range [][2]float64{{-0.5, 0.3}, {0.4, -0.6}, {0.2, 0.5}} {
			if q := math.Hypot(x-d[0], y-d[1]); q < 0.12 {
				v *= 0.88
			}
		}
		img.Pix[0][i] = float32(v + noise*normal(r))
	}
	return img
}

func TestUnevennessTellsAPictureFromALens(t *testing.T) {
	for _, size := range [][2]int{{320, 240}, {1280, 960}, {96, 64}} {
		m := master{index: masterIndex{Level: 0.5}}
		m.index.judge(lens(size[0], size[1], 0.005))
		if why := m.harmsAsFlat(0); why != "" {
			t.Errorf("a flat of %v px: %s", size, why)
		}
	}
	// Dark and bright plains some thirty pixels across.
	img := plane.New(320, 240, 1)
	for i := range img.Pix[0] {
		img.Pix[0][i] = float32(0.4 + 0.06*math.Sin(float64(i%320)/9)*math.Cos(float64(i/320)/7))
	}
	m := master{index: masterIndex{}}
	m.index.judge(img)
	if why := m.harmsAsFlat(0); !strings.Contains(why, "picture") {
		t.Errorf("a picture that strays by %g of %g passes for even light: %q", m.index.Uneven, m.index.Level, why)
	}
}

// A checkerboard of blocks about a slope: half of the blocks a above, half a below, so
// the median deviation is a, and σ of normal data with that is 1.4826·a.
func TestUnevennessOfAKnownPattern(t *testing.T) {
	const w, h, a = 128, 128, 0.03 // blocks of 8 px
	img := plane.New(w, h, 1)
	for i := range img.Pix[0] {
		x, y := i%w, i/w
		v := 0.5 + 0.001*float64(x) - 0.002*float64(y)
		if (x/8+y/8)%2 == 0 {
			v += a
		} else {
			v -= a
		}
		img.Pix[0][i] = float32(v)
	}
	if got := unevenness(img); math.Abs(got-1.4826*a) > 0.02*a {
		t.Errorf("uneven by %g, want %g", got, 1.4826*a)
	}
}

func TestHarms(t *testing.T) {
	for _, c := range []struct {
		name  string
		index masterIndex
		dark  float64
		want  string
	}{
		{"a good flat", masterIndex{Level: 0.5, Saturated: 0.001, Uneven: 0.005}, 0.02, ""},
		{"saturated", masterIndex{Level: 0.97, Saturated: 0.3}, 0, "30 % of their pixels are at white"},
		{"black", masterIndex{Level: 0.05}, 0.045, "nearly black, 0.5 % of white above their dark"},
		{"darker than its dark", masterIndex{Level: 0.05}, 0.2, "nearly black, 0 %"},
		{"a picture", masterIndex{Level: 0.32, Uneven: 0.03}, 0.02, "a picture, not even light: brightness strays by 10 %"},
	} {
		m := master{index: c.index}
		if got := m.harmsAsFlat(c.dark); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	dark := master{index: masterIndex{Level: 0.05}}
	if dark.brighterThan(0.045) || !dark.brighterThan(0.03) {
		t.Error("a dark of 5 % fits bare sky of 4.5 %, not clips of 3 %")
	}
}

// What a master says of itself: level and the share of its pixels at white.
func TestMasterStatesLevelAndSaturation(t *testing.T) {
	const w, h, n = 40, 30, 4
	f := make(pipelinetest.File, w*h*n)
	for i := range f {
		f[i] = 100
		if i%(w*h) < 60 { // of 1,200
			f[i] = 255
		}
	}
	idx := clipIndex{Layout: monoLayout(w, h), Frames: n, Depth: 8, White: 255}
	gain := 3.0
	res := pipelinetest.Run(t, meanPart(pipeline.Item{}, meanSettings{Kind: "flat", Gain: &gain}, idx), map[string][]any{"file": {f}, "index": {idx}})
	var mi masterIndex
	res.Table("index", &mi)
	want := (100*1140 + 255*60) / 1200.0 / 255
	if math.Abs(mi.Level-want) > 1e-6 || mi.Saturated != 0.05 || mi.Gain == nil || *mi.Gain != 3 || mi.ExposureMS != nil {
		t.Errorf("index %+v, want level %g, 5 %% saturated, gain 3", mi, want)
	}
}
