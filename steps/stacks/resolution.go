package stacks

import (
	"context"

	"plenilune/pipeline"
)

// resolutionSettings is what the night says of the optics.
type resolutionSettings struct {
	ArcsecPerPx  float64
	CutoffArcsec float64 // period of the finest detail that the telescope passes; 0: unknown
}

// greenNM is the wavelength that the telescope's limit is told for, in nanometres: the middle of what a camera sees.
const greenNM = 550

// resolutionPart tells a stack's resolution on the sky, where the optics are stated. It is a part of its own, so that
// stating them adds no frame anew.
func resolutionPart(n pipeline.Night, it pipeline.Item, panel pipeline.Value) (pipeline.Part, bool) {
	scale := n.ScaleArcsecPerPx()
	if scale == 0 {
		return pipeline.Part{}, false
	}
	s := resolutionSettings{ArcsecPerPx: scale}
	if d := n.Telescope.ApertureMM; d > 0 {
		s.CutoffArcsec = 206264.806 * greenNM * 1e-6 / d // λ/D: the transfer of a round aperture ends at D/λ cycles a radian
	}
	return pipeline.Part{
		Name: "resolution", Item: it, Version: 1, Settings: s, In: []pipeline.Input{{Port: "panel", Value: panel}},
		Out: []string{"resolution"}, Memory: 1 << 20, Run: pipeline.Bind(runResolution),
	}, true
}

// resolutionTable is how fine a stack's detail is; 0 is unknown.
type resolutionTable struct {
	PeriodArcsec float64 `json:"period_arcsec"` // of the finest detail that two halves of the frames agree on
	CutoffArcsec float64 `json:"cutoff_arcsec"` // of the finest that the telescope passes
}

func runResolution(_ context.Context, s resolutionSettings, t *pipeline.Task) error {
	var p panelTable
	if err := t.One("panel").Table(&p); err != nil {
		return err
	}
	out := resolutionTable{CutoffArcsec: s.CutoffArcsec}
	if p.LimitCyclesPerPx > 0 {
		out.PeriodArcsec = s.ArcsecPerPx / p.LimitCyclesPerPx
		t.Fact("resolution", out.PeriodArcsec, "arcsec")
	}
	if out.CutoffArcsec > 0 {
		t.Fact("diffraction_limit", out.CutoffArcsec, "arcsec")
	}
	return t.PutTable("resolution", out)
}
