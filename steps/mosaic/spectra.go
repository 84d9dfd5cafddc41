package mosaic

import (
	"context"
	"encoding/json"
	"fmt"

	"plenilune/pipeline"
)

// spectraPart gathers how strong the detail of each panel is by scale, for whoever looks at the picture next: in spectrum of
// every panel, out spectra.
func spectraPart(in []pipeline.Input) pipeline.Part {
	return pipeline.Part{Name: "spectra", Version: 1, In: in, Out: []string{"spectra"}, Memory: 1 << 20, Run: runSpectra}
}

func runSpectra(_ context.Context, t *pipeline.Task) error {
	in := t.In("spectrum")
	all := make([]json.RawMessage, len(in)) // handed on as they are
	for i, s := range in {
		if err := s.Table(&all[i]); err != nil {
			return fmt.Errorf("read the spectrum of panel %d: %w", i+1, err)
		}
	}
	return t.PutTable("spectra", all)
}

// ofPort returns what items have at a port, as far as they have it.
func ofPort(items []pipeline.Item, port string) (in []pipeline.Input) {
	for _, it := range items {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	return in
}
