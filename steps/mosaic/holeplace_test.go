package mosaic

import (
	"context"
	"math"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/mosaic/orient"
)

// A hole in the middle of the disk lies under the observer: where that is, the clips' times tell to 1°, and without them it lies within
// the libration of the middle of the near side.
func TestPlaceOfAHole(t *testing.T) {
	times := fromTheMiddle(geometry{Panels: []placed{{Placed: true}}}, []panelTable{{MidUnixNS: 1774641000e9}})
	for _, c := range []struct {
		middle   *moon.View
		lon, lat float64
		about    string
	}{{nil, 0, 0, "some 8° about"}, {times, times.SubLonDeg, times.SubLatDeg, "some 1° about"}} {
		o := orientationTable{Orientation: orient.Orientation{Known: true}}
		p := placementsTable{Limb: limbRow{Found: true, X: 50, Y: 60, Radius: 40}, Holes: []hole{{X: 50, Y: 60, Area: 9}}}
		res := pipelinetest.Run(t, pipeline.Part{Name: "holes", Run: func(_ context.Context, t *pipeline.Task) error {
			o.placeHoles(t, p, c.middle)
			return nil
		}}, nil)
		at := o.Holes[0]
		if !at.Known || math.Abs(at.LonDeg-c.lon) > 1e-9 || math.Abs(at.LatDeg-c.lat) > 1e-9 {
			t.Errorf("%s: the hole lies at %+v, want %v° east and %v° north", c.about, at, c.lon, c.lat)
		}
		if len(res.Warnings) != 1 || !strings.Contains(res.Warnings[0].Text, c.about) {
			t.Errorf("warnings %v, want one with %q", res.Warnings, c.about)
		}
	}
	if math.Abs(times.SubLatDeg) < 1 {
		t.Fatalf("the Moon of that hour has next to no libration: %+v", times)
	}
}
