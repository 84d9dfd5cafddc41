package frames

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
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
