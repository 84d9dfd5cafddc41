package survey

import (
	"math"
	"strings"
	"testing"
)

// A panel that is told to be near a crater must show it: where it lies by the textbook's orthographic projection, which is good to 2″.
func TestLandmarks(t *testing.T) {
	n := bench(1936, 1096)
	n.Camera.AngleDeg = 33
	r := plan(t, n, "2027-03-19")
	found := 0
	for name, at := range map[string][2]float64{"Clavius": {-58.62, -14.73}, "Plato": {51.62, -9.38}, "Langrenus": {-8.86, 61.04}, "Theophilus": {-11.45, 26.28},
		"Copernicus": {9.62, -20.08}, "Gassendi": {-17.55, -39.96}, "Posidonius": {31.88, 29.99}, "Ptolemaeus": {-9.16, -1.84}, "Maginus": {-50.03, -5.98}} {
		for _, p := range r.Grid.Panels {
			if p.Landmark != name {
				continue
			}
			found++
			lat, lon := at[0]*degree, at[1]*degree-r.View.SubLonDeg*degree
			b, pole := r.View.SubLatDeg*degree, r.View.AxisDeg*degree
			x := math.Cos(lat) * math.Sin(lon)
			y := math.Sin(lat)*math.Cos(b) - math.Cos(lat)*math.Sin(b)*math.Cos(lon)
			east := (y*math.Sin(pole) - x*math.Cos(pole)) * r.View.SemidiameterArcsec / 60
			north := (y*math.Cos(pole) + x*math.Sin(pole)) * r.View.SemidiameterArcsec / 60
			d := frame(33).turn(spot{east - p.EastArcmin, north - p.NorthArcmin})
			if math.Abs(d.x) > r.Optics.WidthArcmin/2 || math.Abs(d.y) > r.Optics.HeightArcmin/2 {
				t.Errorf("%s is %.1f′ right and %.1f′ up of the middle of panel %d", name, d.x, d.y, p.Number)
			}
		}
	}
	if found < 3 {
		t.Errorf("only %d of the landmarks known here are named", found)
	}
}

// The brightest panel is on the Sun's side, or near the full Moon by Tycho, in the south.
func TestBrightest(t *testing.T) {
	r := plan(t, bench(1936, 1096), "2027-03-15")
	p := r.Grid.Panels[r.Grid.Brightest-1]
	s, c := math.Sincos(r.View.BrightLimbDeg * degree)
	if along := p.EastArcmin*s + p.NorthArcmin*c; along < 5 {
		t.Errorf("panel %d lies %.1f′ towards the Sun", p.Number, along)
	}
	r = plan(t, bench(1936, 1096), "2027-03-22")
	if p = r.Grid.Panels[r.Grid.Brightest-1]; p.NorthArcmin > -6 || p.NorthArcmin < -15 || !strings.Contains(noteOf(r, "exposure"), "Tycho") {
		t.Errorf("panel %d at %+.1f′ north of a full Moon: %s", p.Number, p.NorthArcmin, noteOf(r, "exposure"))
	}
}
