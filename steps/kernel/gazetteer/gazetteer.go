// Package gazetteer holds the named features of the Moon: the Gazetteer of Planetary Nomenclature that the International
// Astronomical Union approves and the US Geological Survey publishes (planetarynames.wr.usgs.gov), an export of names,
// diameters and positions; its values may differ from today's by 0.05°.
package gazetteer

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// Feature is one named place: positions are planetographic, in degrees, north and east positive, east from −180 to 180.
type Feature struct {
	Name       string
	DiameterKM float64 // 0: a point, or not stated
	Latitude   float64
	Longitude  float64
}

//go:embed features.csv
var features string

// Features returns all of them, the largest first. The slice is shared: it must not be changed.
var Features = sync.OnceValue(func() []Feature {
	all, err := parse(features)
	if err != nil {
		panic(err) // the file is part of the program, and a test reads it
	}
	return all
})

func parse(text string) ([]Feature, error) {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read the gazetteer: %w", err)
	}
	var out []Feature
	for i, row := range rows[min(1, len(rows)):] {
		if len(row) != 4 {
			return nil, fmt.Errorf("read the gazetteer: row %d has %d fields, want 4", i+2, len(row))
		}
		f := Feature{Name: row[0]}
		for k, dst := range []*float64{&f.DiameterKM, &f.Latitude, &f.Longitude} {
			if *dst, err = strconv.ParseFloat(row[k+1], 64); err != nil {
				return nil, fmt.Errorf("read the gazetteer: row %d: %w", i+2, err)
			}
		}
		out = append(out, f)
	}
	return out, nil
}
