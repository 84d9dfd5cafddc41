package mosaic

import (
	"fmt"
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
