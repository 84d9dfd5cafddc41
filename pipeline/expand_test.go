package pipeline

import (
	"strings"
	"testing"
)

// What a product was made from is found however far back, and nothing that it was not made from.
func TestBehind(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	files := &b.steps[len(b.steps)-1]
	expand := files.Expand
	found := map[string]int{}
	files.Expand = func(x *Expansion) error {
		for _, kind := range []string{"clips", "sum", "file"} {
			items, err := x.Behind(x.Settings().(*fakeFile).Of, kind)
			if err != nil {
				return err
			}
			found[kind] = len(items)
		}
		return expand(x)
	}
	b.must(strings.Replace(fakeManifest, "sum \"s\"", "clips \"other\" {\n  files = [\"clips/a\"]\n}\nsum \"s\"", 1), Options{})
	if found["clips"] != 2 || found["sum"] != 1 || found["file"] != 0 {
		t.Errorf("behind the sum are %v, want two clips, the sum itself, and no file", found)
	}
}
