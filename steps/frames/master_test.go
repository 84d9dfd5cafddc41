package frames

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/raw"
)

func TestMasterDark(t *testing.T) {
	const w, h, n = 40, 30, 24
	r := rand.New(rand.NewPCG(2, 2))
	f := make(pipelinetest.File, 0, w*h*n)
	for k := range n {
		for i := range w * h {
			v := 10 + 2*normal(r)
			if i == 333 || i == 7 {
				v = 90
			}
			if k == 5 && i/w == 12 { // a satellite through one frame
				v = 250
			}
			f = append(f, byte(math.Round(v)))
		}
	}
	idx := clipIndex{Layout: monoLayout(w, h), FilePattern: "mono", Frames: n, Depth: 8, White: 255}
	// Two files of one group are one master.
	res := pipelinetest.Run(t, meanPart(pipeline.Item{}, meanSettings{Kind: "dark"}, idx), map[string][]any{"file": {f, f}, "index": {idx, idx}})
	var hot hotTable
	res.Table("hot", &hot)
	if !slices.Equal(hot.Pixels, []int{7, 333}) {
		t.Errorf("hot pixels %v, want [7 333]", hot.Pixels)
	}
	var mi masterIndex
	res.Table("index", &mi)
	if mi.Frames != 2*n || mi.Kind != "dark" || mi.group() != idx.group() {
		t.Errorf("index %+v", mi)
	}
	for i, v := range res.Plane("mean").Pix[0] {
		// 24 frames of σ = 2: 5σ of the mean is 2; the satellite unclipped would add 10.
		if got := float64(v) * 255; i != 7 && i != 333 && math.Abs(got-10) > 2.1 {
			t.Fatalf("pixel %d of the dark is %.2f, want 10", i, got)
		}
	}
}

func TestKindOf(t *testing.T) {
	for _, c := range []struct{ kind, name, want string }{{"", "dark", "dark"}, {"", "flats", "flat"}, {"flat", "dark", "flat"}, {"", "flatdark", "dark"}, {"", "flat_darks", "dark"}, {"", "darkflat", "dark"}, {"", "x", ""}} {
		if got, err := KindOf(c.kind, c.name); got != c.want || (err != nil) != (c.want == "") {
			t.Errorf("kind %q, name %q: %q, %v", c.kind, c.name, got, err)
		}
	}
}

// Where filters are ignored the clip's sites are evened by gains of their own: the flat must not even
// them once more, whatever pattern its header states.
func TestFlatOfIgnoredFiltersKeepsNoSites(t *testing.T) {
	const w, h = 24, 16
	site := [4]float32{1, 0.8, 0.7, 0.6}
	flat := pipelinetest.Plane{W: w, H: h, Pix: [][]float32{make([]float32, w*h)}}
	for i := range flat.Pix[0] {
		x, y := i%w, i/w
		flat.Pix[0][i] = site[2*(y&1)+x&1] * (0.5 + 0.01*float32(x/2))
	}
	for _, pattern := range []string{raw.Mono, raw.RGGB} {
		idx := clipIndex{Layout: monoLayout(w, h), FilePattern: pattern, Sites: &[4]float64{0.8, 1, 1.1, 1.3}}
		got := pipelinetest.Run(t, flatPart(pipeline.Item{}, idx), map[string][]any{"flat": {flat}}).Plane("flat").Pix[0]
		for i, v := range got {
			if x, y := i%w, i/w; math.Abs(float64(v-got[y/2*2*w+x/2*2])) > 1e-6 {
				t.Fatalf("header %s: pixel (%d, %d) of the flat is %.4f, the first site beside it %.4f", pattern, x, y, v, got[y/2*2*w+x/2*2])
			}
		}
	}
	idx := clipIndex{Layout: monoLayout(w, h), FilePattern: raw.Mono} // without sites the pixels' own differences stay
	got := pipelinetest.Run(t, flatPart(pipeline.Item{}, idx), map[string][]any{"flat": {flat}}).Plane("flat").Pix[0]
	if math.Abs(float64(got[1]/got[0])-0.8) > 1e-6 {
		t.Errorf("pixels of a mono flat stand as 1 to %.4f, want 0.8", got[1]/got[0])
	}
}
