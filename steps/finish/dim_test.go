package finish

import (
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/plane"
)

// A picture printed with a share of its light left out is the picture that has so much less, turned alike, in all channels.
func TestLightLeftOutIsAsIfItWereNotThere(t *testing.T) {
	const w, h = 300, 270
	full, less, share := plane.New(w, h, 3), plane.New(w, h, 3), plane.New(w, h, 1)
	for i := range share.Pix[0] {
		share.Pix[0][i] = float32(i%w) / w / 2 // none at the left
		for c := range full.Pix {
			full.Pix[c][i] = 0.1 + float32(i)/(w*h)/2 + 0.1*float32(c)
			less.Pix[c][i] = full.Pix[c][i] - full.Pix[c][i]*share.Pix[0][i]
		}
	}
	share.Pix[0][7] = float32(math.NaN()) // nothing known is nothing left out
	for c := range full.Pix {
		less.Pix[c][7] = full.Pix[c][7]
	}
	in := map[string][]any{
		"levels": {levelsTable{Black: []float64{0, 0, 0}, Gain: []float64{1, 1, 1}, White: 1, Large: 1}},
		"layout": {layoutTable{frame: frameFor(w, h, orientation{true, 180, false, 0}, "up")}},
	}
	p := pipeline.Part{Name: "tone", Settings: toneSettings{0.2, 1}, Out: []string{"image"}, Run: pipeline.Bind(runTone)}
	in["image"] = []any{pipelinetest.Plane{W: w, H: h, Pix: less.Pix}}
	want := pipelinetest.Run(t, p, in).Plane("image")
	in["image"], in["beyond"] = []any{pipelinetest.Plane{W: w, H: h, Pix: full.Pix}}, []any{pipelinetest.Plane{W: w, H: h, Pix: share.Pix}}
	got := pipelinetest.Run(t, p, in).Plane("image")
	for c, p := range got.Pix {
		for i, v := range p {
			if v != want.Pix[c][i] {
				t.Fatalf("channel %d, pixel %d: %v, want %v", c, i, v, want.Pix[c][i])
			}
		}
	}
}
