package main

import (
	"slices"
	"testing"

	"plenilune/pipeline"
	"plenilune/steps"
)

// What failed is left out of the clips, never of masters, whose bytes a run must find again.
func TestFailedClipsAreLeftOutOfClipsOnly(t *testing.T) {
	src := `
master "d" {
  kind  = "dark"
  files = ["d1.ser", "d2.ser"]
}
clips "c" {
  files   = ["a.ser", "b.ser"]
  masters = [master.d]
}
stack "s" {
  clips = clips.c
}
mosaic "m" {
  panels = stack.s
}
`
	m, diags := pipeline.LoadManifest("night.hcl", []byte(src), steps.All(), nil)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	for _, b := range m.Blocks {
		switch b.Kind {
		case "master":
			b.Paths = []string{"d1.ser", "d2.ser"}
		case "clips":
			b.Paths = []string{"a.ser", "b.ser"}
		}
	}
	_, set := mosaicOf(m)
	leaveOut(m, clipBlocks(m, set.Panels), map[string]string{"b": "broken", "d1": "broken"})
	for _, b := range m.Blocks {
		want := map[string][]string{"master": {"d1.ser", "d2.ser"}, "clips": {"a.ser"}}[b.Kind]
		if !slices.Equal(b.Paths, want) {
			t.Errorf("%s has %v, want %v", b.Kind, b.Paths, want)
		}
	}
	letQuick(m, set, func(pipeline.ID) bool { return true })
	if s := stackSettings(m, set.Panels[0]); s == nil || s.Quick == nil || !s.Quick(pipeline.ID{}) {
		t.Error("no quick stacks are let")
	}
	letQuick(m, set, nil)
	if s := stackSettings(m, set.Panels[0]); s.Quick != nil {
		t.Error("quick stacks are still let")
	}
}
