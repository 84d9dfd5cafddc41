package pages

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/warp"
)

// cells decodes the map as the page's script does.
func (f *sceneFine) cells(t *testing.T) []float64 {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(f.Periods)
	if err != nil || len(b) != 2*f.NX*f.NY {
		t.Fatalf("%d bytes of %d × %d cells: %v", len(b), f.NX, f.NY, err)
	}
	out := make([]float64, f.NX*f.NY)
	for k := range out {
		out[k] = f.Part * float64(binary.LittleEndian.Uint16(b[2*k:]))
	}
	return out
}

// Cells of 400 px of which four are told of: at 2.3″ a pixel. The one at (1000, 600) lies in the dark.
func TestFineMap(t *testing.T) {
	in := withTiles(seenNight(0, false))
	dim := slices.Repeat([]byte{100}, 10*9)
	for y := 4; y < 9; y++ {
		for x := 7; x < 10; x++ {
			dim[y*10+x] = 0
		}
	}
	in["layout"] = []any{layoutTable{Width: 1000, Height: 900, TileSide: 512, Dim: dim, DimWidth: 10, DimPixels: 100}}
	in["finest_map"] = []any{finestTable{Cell: 400, NX: 3, NY: 3, PeriodPx: []float64{0, 0, 0, 4, 4.4, 9, 0, 5, 0}}}
	// The finished picture begins at (100, 50) of the mosaic.
	in["finish"] = []any{map[string]any{"W": 1000, "H": 900, "ToSource": warp.Affine{1, 0, 100, 0, 1, 50}}}
	sc := sceneIn(t, filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{ApertureMM: 150}), in).Bytes("folder")))
	got := sc.Fine.cells(t)
	for k, want := range []float64{0, 0, 0, 9.2, 10.12, 0, 0, 11.5, 0} {
		if diff := got[k] - want; diff > 0.005 || diff < -0.005 {
			t.Errorf("cell %d is %g″, want %g″", k, got[k], want)
		}
	}
	if sc.Fine.Unit != "″" || sc.Fine.Limit != 0.756 {
		t.Errorf("unit %q, limit %g", sc.Fine.Unit, sc.Fine.Limit)
	}
	// The middle of the second cell of the second row is at (599.5, 599.5) of the mosaic.
	if u, v := sc.Fine.ToCell.Apply(499.5, 549.5); max(u-1, 1-u) > 1e-9 || max(v-1, 1-v) > 1e-9 {
		t.Errorf("that cell's middle is taken to %g, %g", u, v)
	}
}

// Without a scale periods stay in pixels, and a telescope's limit in seconds of arc has no place beside them.
func TestFineMapWithoutScale(t *testing.T) {
	n := night{finest: finestTable{Cell: 100, NX: 1, NY: 2, PeriodPx: []float64{3, 0}}}
	m := n.fineOf(pageSettings{ApertureMM: 150}, layoutTable{Width: 100, Height: 200}, frame{})
	if m.unit != " px" || m.limit != 0 || !slices.Equal(m.value, []float64{3, 0}) {
		t.Errorf("%+v", m)
	}
	if n.finest.PeriodPx[0] = 0; n.fineOf(pageSettings{}, layoutTable{Width: 100, Height: 200}, frame{}) != nil {
		t.Error("there is a map of nothing")
	}
}

// Edges are round, part most values, and do not make much of what hardly differs.
func TestEdges(t *testing.T) {
	var spread []float64
	for i := range 101 {
		spread = append(spread, 1+float64(i)/50)
	}
	for _, c := range []struct{ values, want []float64 }{
		{spread, []float64{1.5, 2, 2.5}},                                          // 1 to 3, a factor above two
		{slices.Repeat([]float64{5}, 30), []float64{3.5, 4, 4.5, 5, 5.5, 6, 6.5}}, // 10/3 to 20/3
	} {
		if got := edgesFor(c.values); !slices.Equal(got, c.want) {
			t.Errorf("edges %v, want %v", got, c.want)
		}
	}
	m := fineMap{edges: []float64{1, 2}}
	for v, want := range map[float64]int{0.5: 0, 1: 1, 1.9: 1, 2: 2, 9: 2} {
		if got := m.class(v); got != want {
			t.Errorf("%g is of class %d, want %d", v, got, want)
		}
	}
}

// Two of three windows that tell agree up to ¼ cycle, one up to ⅛: periods of 4 and 8 px, of 2.3″ each.
func TestBarsOfFineness(t *testing.T) {
	in := withTiles(seenNight(0, false))
	report := string(filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{ApertureMM: 150}), in).Bytes("folder"))["report.html"])
	for _, want := range []string{"Panel 1: how much of it is how fine", "in windows of 128 px", "λ/D, 0.76″, is the telescope’s limit", "Map of the finest detail", "whole panel"} {
		if !strings.Contains(report, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	n := night{placed: true, clips: []clip{{panel: panelTable{Limit: 0.25}, fine: windowsTable{Width: 200, Limit: []float64{0.25, 0.25, 0.125, 0}}}}}
	n.geo.Panels = append(n.geo.Panels, struct {
		W     int
		Scale float64
	}{200, 1})
	n.place.Scale = 2.3
	if got := fmt.Sprintf("%.1f", n.periods(0)); got != "[9.2 9.2 18.4]" {
		t.Errorf("periods are %s", got)
	}
	if n.geo.Panels[0].W = 400; fmt.Sprintf("%.1f", n.periods(0)) != "[18.4 18.4 36.8]" { // drawn twice as large
		t.Errorf("of a panel that was drawn to another scale periods are %.1f", n.periods(0))
	}
	if bars := strings.Count(string(n.fineBars(0, [2]float64{0, 50}, 0)), `class="bar kept"`); bars != 2 {
		t.Errorf("%d bars of two periods", bars)
	}
}

// A short arc of the limb tells neither where on the disk the picture lies nor how large a kilometre is in it.
func TestShortArcOfTheLimb(t *testing.T) {
	in := withTiles(seenNight(0, false))
	in["placements"][0].(map[string]any)["limb"].(map[string]any)["arc_deg"] = 41.0
	files := filesOf(t, pipelinetest.Run(t, pagesPart(pageSettings{}), in).Bytes("folder"))
	sc := sceneIn(t, files)
	if len(sc.Features)+len(sc.Grid) > 0 || sc.Disk != nil || sc.Limb != nil || sc.Holes[0].Place != "" {
		t.Errorf("by a limb of 41° there are %d names, %d lines, limb %v, a hole at %q", len(sc.Features), len(sc.Grid), sc.Limb, sc.Holes[0].Place)
	}
	if !strings.Contains(sc.PlacesWhy, "Only 41° of the limb") {
		t.Errorf("it says %q", sc.PlacesWhy)
	}
	// By the scale instead: 2.3″ of 384,400 km, less the Moon's radius, are 4.27 km.
	if got := fmt.Sprintf("%.2f", sc.KMPerPx); got != "4.27" {
		t.Errorf("a pixel is %s km", got)
	}
	if report := string(files["report.html"]); strings.Contains(report, "the circle is the limb") || !strings.Contains(report, "Only 41° of the limb were found") {
		t.Error("the report takes the limb for known")
	}
}
