package mosaic

import (
	"context"
	"fmt"

	"plenilune/pipeline"
)

// lightTable is what is stated of the light of a panel, or of a picture.
type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"` // 0: unknown, or not the same for all
}

// lightPart tells the light of a mosaic: in light of every panel, out light. Placing and joining
// do without, so that stating it moves nothing.
func lightPart(items []pipeline.Item) (pipeline.Part, bool) {
	var in []pipeline.Input
	for _, it := range items {
		v := it.Values["light"]
		if v.IsZero() {
			return pipeline.Part{}, false // that of one is not known
		}
		in = append(in, pipeline.Input{Port: "light", Value: v})
	}
	return pipeline.Part{Name: "light", Version: 1, In: in, Out: []string{"light"}, Memory: 1 << 20, Run: runLight}, true
}

func runLight(_ context.Context, t *pipeline.Task) error {
	in := t.In("light")
	tables := make([]lightTable, len(in))
	for i, s := range in {
		if err := s.Table(&tables[i]); err != nil {
			return fmt.Errorf("read light of panel %d: %w", i+1, err)
		}
	}
	return t.PutTable("light", common(tables))
}

// common is the light of all panels, unknown if it is not the same.
func common(tables []lightTable) lightTable {
	for _, t := range tables {
		if t != tables[0] {
			return lightTable{}
		}
	}
	return tables[0]
}
