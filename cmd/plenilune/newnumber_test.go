package main

import (
	"fmt"
	"path/filepath"
	"testing"

	"plenilune/pipeline"
)

// Pictures of a folder that one number tells apart, and not their last, are one clip in its order; what two numbers tell apart is not.
func TestNumberedElsewhere(t *testing.T) {
	var one, two []string
	for i := range 12 {
		one = append(one, filepath.Join("d", fmt.Sprintf("m_%d_gain10.PNG", i)))
		two = append(two, filepath.Join("d", fmt.Sprintf("m_%d_gain%d.png", i, i)))
	}
	got := numberedElsewhere(one, pipeline.SequencesOf(one, false))
	if len(got) != 1 || got[0].Path != filepath.Join("d", "m_#_gain10.png") || len(got[0].Pictures) != 12 || filepath.Base(got[0].Pictures[10]) != "m_10_gain10.PNG" {
		t.Errorf("one number: %+v", got)
	}
	if got := numberedElsewhere(two, pipeline.SequencesOf(two, false)); len(got) != 12 {
		t.Errorf("two numbers: %d clips, want 12", len(got))
	}
	if most, _ := mostNumbered(two); most != 1 {
		t.Errorf("%d of two numbers differ in one only", most)
	}
}
