package mosaic

import (
	"math"
	"slices"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
)

// Two panels of 300 × 200 px overlap by 100: the left one agrees up to ¼ cycle a pixel, the right one, stacked at twice the scale and drawn
// smaller since, up to 1/16 of its own pixels, which is ⅛. In the middle of the overlap both count alike: 3/16, a period of 5⅓ px.
func TestFinestIsBlendedAsTheJoinDoes(t *testing.T) {
	const w, h = 300, 200
	in := map[string][]any{
		"geometry": {geometry{Width: 500, Height: 200, Panels: []placed{{W: w, H: h, Placed: true, X: 149.5, Y: 99.5, Scale: 1},
			{W: w, H: h, Placed: true, X: 349.5, Y: 99.5, Scale: 1}, {W: w, H: h}}}},
		"levels":    {levelsTable{Levels: []level{{Factor: 1}, {Factor: 1}, {Factor: 1}}}},
		"sharpness": {sharpTable{make([]sharpness, 3)}},
	}
	one := func(v float32) pipelinetest.Plane {
		return pipelinetest.Plane{W: w, H: h, Pix: [][]float32{slices.Repeat([]float32{v}, w*h)}}
	}
	for range 3 {
		in["image"], in["weight"], in["full"] = append(in["image"], one(0.5)), append(in["weight"], one(1)), append(in["full"], one(0))
		in["noise"], in["panel"] = append(in["noise"], one(1e-3)), append(in["panel"], panelTable{NoiseSigma: 1e-3})
	}
	windows := func(scale int, limit float64) windowsTable {
		return windowsTable{Width: scale * w, Height: scale * h, NX: 2, NY: 1, X0: 60, Y0: 100, StepX: 180 * float64(scale), Limit: []float64{limit, limit}}
	}
	in["finest"] = []any{windows(1, 0.25), windows(2, 1./16), windows(1, 0.4)}
	var got finestTable
	pipelinetest.Run(t, finestPart(nil, 0), in).Table("finest", &got)
	if got.Cell != leastCell || got.NX != 32 || got.NY != 13 {
		t.Fatalf("%d × %d cells of %d px", got.NX, got.NY, got.Cell)
	}
	row := got.PeriodPx[6*got.NX:][:got.NX]
	for k, want := range map[int]float64{1: 4, 11: 4, 15: 16. / 3, 20: 8, 30: 8} {
		if math.Abs(row[k]-want) > 0.011 {
			t.Errorf("at %d px the period is %g px, want %.2f", k*got.Cell+8, row[k], want)
		}
	}
}

// Windows that tell nothing leave a gap; beyond the last middle its figure holds.
func TestBetweenWindows(t *testing.T) {
	f := windowsTable{NX: 3, NY: 2, X0: 10, Y0: 20, StepX: 10, StepY: 20, Limit: []float64{0.1, 0.3, 0, 0.1, 0.3, 0}}
	for _, c := range []struct{ x, y, want float64 }{{10, 20, 0.1}, {15, 30, 0.2}, {-40, 90, 0.1}, {24, 20, 0.3}, {26, 20, 0}, {99, 20, 0}} {
		if got := f.at(c.x, c.y); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("at %g, %g: %g, want %g", c.x, c.y, got, c.want)
		}
	}
	if got := (&windowsTable{}).at(1, 1); got != 0 {
		t.Errorf("no windows tell %g", got)
	}
}

// outlinesReturn checks that each place of a panel's outline is joined from where it should be on the panel's border.
func (n *night) outlinesReturn(t *testing.T) {
	t.Helper()
	var all [][][2]float64
	part := pipelinetest.Run(t, outlinesPart(pipeline.Input{}), map[string][]any{"geometry": {n.geometry}})
	part.Table("outlines", &all)
	for i := range n.geometry.Panels {
		p := n.geometry.Panels[i]
		if err := p.Globe.ready(); err != nil {
			t.Fatal(err)
		}
		s := sheet{toPanel: p.toMosaic().inverse(), globe: p.Globe, bend: p.Bend}
		if len(all[i]) != 4*outlineSteps {
			t.Fatalf("the outline of panel %d has %d places", i+1, len(all[i]))
		}
		for k, at := range all[i] {
			f := float64(k%outlineSteps) / outlineSteps
			want := [4][2]float64{{f, 0}, {1, f}, {1 - f, 1}, {0, 1 - f}}[k/outlineSteps]
			u, v := s.lies(at[0], at[1])
			if d := math.Hypot(u-(want[0]*float64(p.W)-0.5), v-(want[1]*float64(p.H)-0.5)); d > 0.03 {
				t.Errorf("panel %d: place %d of the outline is joined from %.2f px beside the border", i+1, k, d)
			}
		}
	}
}
