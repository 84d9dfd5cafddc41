package stacks

import (
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// A telescope of 102 mm passes detail down to λ/D = 1.112″ at 550 nm (206264.806″ a radian); 3.75 µm pixels behind
// 1326 mm are 0.5833″ wide.
// At twice the wavelength the limit is twice as coarse.
func TestResolutionOnTheSky(t *testing.T) {
	night := pipeline.Night{Telescope: &pipeline.Telescope{ApertureMM: 102, FocalLengthMM: 1326}, Camera: &pipeline.Camera{PixelUM: 3.75}}
	p, ok := resolutionPart(night, pipeline.Item{})
	if !ok {
		t.Fatal("no part for stated optics")
	}
	p.In = nil
	in := map[string][]any{"panel": {panelTable{LimitCyclesPerPx: 0.4}}}
	var got resolutionTable
	pipelinetest.Run(t, p, in).Table("resolution", &got)
	if math.Abs(got.CutoffArcsec-1.112) > 5e-4 || math.Abs(got.PeriodArcsec-0.58333/0.4) > 1e-4 {
		t.Errorf("%+v, want 1.4583 and 1.112", got)
	}
	in["light"] = []any{lightTable{1100}}
	pipelinetest.Run(t, p, in).Table("resolution", &got)
	if math.Abs(got.CutoffArcsec-2.224) > 1e-3 {
		t.Errorf("in light of 1100 nm %+v, want a limit of 2.224", got)
	}
	if _, ok := resolutionPart(pipeline.Night{}, pipeline.Item{}); ok {
		t.Error("a part for optics that are not stated")
	}
}
