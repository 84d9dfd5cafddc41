package captures

import (
	"context"

	"plenilune/pipeline"
)

// lightTable is what is stated of the light that reached the sensor.
type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"`
}

// lightPart hands on what a filter block states. It is no part of the index, so that stating it
// looks at no frame anew.
func lightPart(it pipeline.Item, wavelengthNM float64) pipeline.Part {
	return pipeline.Part{
		Name: "light", Item: pipeline.Item{ID: it.ID}, Version: 1, Settings: lightTable{wavelengthNM},
		Out: []string{"light"}, Memory: 1 << 20, Run: pipeline.Bind(runLight),
	}
}

func runLight(_ context.Context, s lightTable, t *pipeline.Task) error { return t.PutTable("light", s) }
