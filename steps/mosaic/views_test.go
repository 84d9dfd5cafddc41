package mosaic

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
)

// Views written into a manifest come back as the same numbers, to the last bit, from all over the Earth and at any time.
func TestViewsComeBack(t *testing.T) {
	stack := pipeline.Step{Name: "stacks", Block: "stack", New: func() any { return &struct{}{} }, Expand: func(*pipeline.Expansion) error { return nil }}
	for i := range 60 {
		site := moon.Site{LatitudeDeg: -89.3 + 2.97*float64(i), LongitudeDeg: -179.1 + 5.93*float64(i), ElevationM: 61.7 * float64(i)}
		items := make([]pipeline.Item, 8)
		times := make([]int64, len(items))
		for k := range items {
			items[k].ID[0], items[k].ID[31] = byte(k+1), byte(i)
			times[k] = 1.7e18 + int64(i)*86_400_000_000_000*11 + int64(k)*1_234_567_890_123
		}
		times[3] = 0
		epoch, views := viewsAt(site, times)
		src := "stack \"s\" {\n}\nmosaic \"m\" {\n  panels = stack.s\n" + viewsText(epoch, items, views) + "}\n"
		m, d := pipeline.LoadManifest("m.hcl", []byte(src), []pipeline.Step{stack, Step()}, nil)
		if d.HasErrors() {
			t.Fatalf("%v in\n%s", d, src)
		}
		set := m.Blocks[1].Steps[0].Settings.(*Settings)
		got := epochSettings{set.Views.LongitudeDeg, set.Views.LatitudeDeg, set.Views.DistanceKM}
		if got != epoch {
			t.Errorf("the epoch %+v came back as %+v", epoch, got)
		}
		back := set.Views.stated(items)
		for k := range views {
			if back[k] != views[k] {
				t.Errorf("from %+v the view %+v came back as %+v", site, views[k], back[k])
			}
		}
	}
}

// A view of no clip, or of one clip twice, is told where it stands.
func TestCheckViews(t *testing.T) {
	id := strings.Repeat("ab", 32)
	got := checkViews(&Settings{Views: &Views{Views: []View{{Clip: id}, {Clip: "weld"}, {Clip: strings.ToUpper(id)}}}})
	if len(got) != 2 || got[0].Path != "views.view.1.clip" || got[1].Path != "views.view.2.clip" {
		t.Errorf("faults %+v, want one of the second and one of the third", got)
	}
	if more := checkViews(&Settings{}); more != nil {
		t.Error(fmt.Sprint("without views there are faults: ", more))
	}
}

// TestViewsTellNoHome: what is published of a session depends on the site's corner of the grid alone, so that nothing else can be worked
// out from it; and the corner serves as the site itself would, against the middle of four hours.
func TestViewsTellNoHome(t *testing.T) {
	home, other := pipeline.Site{LatitudeDeg: 46.9481, LongitudeDeg: 7.4475, ElevationM: 540}, pipeline.Site{LatitudeDeg: 47.24, LongitudeDeg: 7.74}
	if a, b := nearby(home), nearby(other); a != b || a.LatitudeDeg != 47 || a.LongitudeDeg != 7.5 {
		t.Errorf("two places of one corner are told as %v and %v", a, b)
	}
	times := make([]int64, 25)
	for i := range times {
		times[i] = 1774641000e9 + int64(i)*600e9
	}
	_, exact := viewsAt(moon.Site{LatitudeDeg: home.LatitudeDeg, LongitudeDeg: home.LongitudeDeg, ElevationM: home.ElevationM}, times)
	_, near := viewsAt(nearby(home), times)
	const most = 0.004 // degrees; 0.07 px at the middle of a disk of 2,000 px
	for i, v := range exact {
		if d := math.Hypot(v.EastDeg-near[i].EastDeg, v.NorthDeg-near[i].NorthDeg); d > most {
			t.Errorf("view %d lies %.4f° off, which must be below %.4f°", i, d, most)
		}
	}
}
