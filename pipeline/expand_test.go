package pipeline

import (
	"strings"
	"testing"
)

// What a product was made from is found however far back, and nothing that it was not made from.
func TestBehind(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	sums, files := &b.steps[len(b.steps)-2], &b.steps[len(b.steps)-1]
	expand := files.Expand
	found := map[string]int{}
	files.Expand = func(x *Expansion) error {
		of := x.Settings().(*fakeFile).Of
		items, err := x.Upstream(of)
		if err != nil {
			return err
		}
		for kind, port := range map[string]string{"clips": "word", "sum": "big", "file": "file"} {
			behind, err := x.Behind(items[0], of, port, kind)
			if err != nil {
				return err
			}
			found[kind] = len(behind)
		}
		return expand(x)
	}
	two := strings.Replace(fakeManifest, "sum \"s\"", "clips \"other\" {\n  files = [\"clips/a\"]\n}\nsum \"s\"", 1)
	b.must(two, Options{})
	if found["clips"] != 2 || found["sum"] != 1 || found["file"] != 0 {
		t.Errorf("behind the sum are %v, want two clips, the sum itself, and no file", found)
	}
	// One that is made of fewer than there are.
	sums.Expand = func(x *Expansion) error {
		s := x.Settings().(*fakeSum)
		items, err := x.Upstream(s.Clips)
		if err != nil {
			return err
		}
		x.Emit(Item{Values: map[string]Value{"big": items[0].Values["word"]}})
		return nil
	}
	files.Expand = func(x *Expansion) error {
		of := x.Settings().(*fakeFile).Of
		items, err := x.Upstream(of)
		if err == nil {
			items, err = x.Behind(items[0], of, "word", "clips")
		}
		found["clips"] = len(items)
		return err
	}
	b.must(two, Options{})
	if found["clips"] != 1 {
		t.Errorf("behind what is made of one clip there are %d", found["clips"])
	}
}
