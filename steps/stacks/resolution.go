package stacks

import (
	"cmp"
	"context"

	"plenilune/pipeline"
)

// resolutionSettings is what the night says of the optics.
type resolutionSettings struct {
	ArcsecPerPx float64
	ApertureMM  float64 // 0: unknown
}

// resolutionPart tells a stack's resolution on the sky, where the optics are stated. It is a part of its own, so that
// stating them adds no frame anew.
func resolutionPart(n pipeline.Night, it pipeline.Item) (pipeline.Part, bool) {
	scale := n.ScaleArcsecPerPx()
	if scale == 0 {
		return pipeline.Part{}, false
	}
	s := resolutionSettings{scale, n.Telescope.ApertureMM}
	in := []pipeline.Input{{Port: "panel", Value: it.Values["panel"]}}
	if v := it.Values["light"]; !v.IsZero() {
		in = append(in, pipeline.Input{Port: "light", Value: v})
	}
	return pipeline.Part{
		Name: "resolution", Item: pipeline.Item{ID: it.ID}, Version: 2, Settings: s, In: in,
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
	var light lightTable
	if t.Has("light") {
		if err := t.One("light").Table(&light); err != nil {
			return err
		}
	}
	var out resolutionTable
	if s.ApertureMM > 0 { // λ/D: the transfer of a round aperture ends at D/λ cycles a radian
		out.CutoffArcsec = 206264.806 * cmp.Or(light.WavelengthNM, greenNM) * 1e-6 / s.ApertureMM
	}
	if p.LimitCyclesPerPx > 0 {
		out.PeriodArcsec = s.ArcsecPerPx / p.LimitCyclesPerPx
		t.Fact("resolution", out.PeriodArcsec, "arcsec")
	}
	if out.CutoffArcsec > 0 {
		t.Fact("diffraction_limit", out.CutoffArcsec, "arcsec")
	}
	return t.PutTable("resolution", out)
}
