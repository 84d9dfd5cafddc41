package gazetteer

import (
	"math"
	"testing"
)

// Positions from outside the file, from memory of any atlas of the Moon, to whole degrees: Rükl, Atlas of the Moon (1990).
func TestKnownPlaces(t *testing.T) {
	want := map[string][3]float64{ // latitude, longitude, diameter in km
		"Tycho": {-43, -11, 85}, "Copernicus": {10, -20, 93}, "Plato": {51, -9, 101}, "Langrenus": {-9, 61, 132},
		"Grimaldi": {-5, -68, 172}, "Mare Crisium": {17, 59, 500},
	}
	for _, f := range Features() {
		w, ok := want[f.Name]
		if !ok {
			continue
		}
		delete(want, f.Name)
		if math.Abs(f.Latitude-w[0]) > 1.2 || math.Abs(f.Longitude-w[1]) > 1.2 || math.Abs(f.DiameterKM/w[2]-1) > 0.15 {
			t.Errorf("%s stands at %g°, %g° and is %g km wide, want about %v", f.Name, f.Latitude, f.Longitude, f.DiameterKM, w)
		}
	}
	if len(want) > 0 {
		t.Errorf("not in the list: %v", want)
	}
}

func TestRanges(t *testing.T) {
	all := Features()
	if len(all) < 9000 {
		t.Fatalf("%d features, want some 9,100", len(all))
	}
	for i, f := range all {
		if f.Name == "" || math.Abs(f.Latitude) > 90 || math.Abs(f.Longitude) > 180 || f.DiameterKM < 0 || f.DiameterKM > 3000 {
			t.Errorf("feature %d is odd: %+v", i, f)
		}
		if i > 0 && f.DiameterKM > all[i-1].DiameterKM {
			t.Errorf("%s is larger than %s before it", f.Name, all[i-1].Name)
		}
	}
}

func TestParseNamesRow(t *testing.T) {
	for _, bad := range []string{"name,d,lat,lon\nA,1,2\n", "name,d,lat,lon\nA,1,2,x\n"} {
		if _, err := parse(bad); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}
