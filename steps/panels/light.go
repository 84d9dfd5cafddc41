package panels

import (
	"context"

	"plenilune/pipeline"
)

// lightTable is what is stated of the light that reached the sensor.
type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"`
}

// withLight adds what the block states of the light to a panel that does not say so itself.
func withLight(x *pipeline.Expansion, it pipeline.Item, f *Filter) pipeline.Item {
	if f == nil || !it.Values["light"].IsZero() {
		return it
	}
	n := x.Add(pipeline.Part{
		Name: "light", Item: pipeline.Item{ID: it.ID}, Version: 1, Settings: lightTable{f.WavelengthNM},
		Out: []string{"light"}, Memory: 1 << 20, Run: pipeline.Bind(runLight),
	})
	return it.With("light", n.Out("light"))
}

func runLight(_ context.Context, s lightTable, t *pipeline.Task) error { return t.PutTable("light", s) }
