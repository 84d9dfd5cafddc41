package pipeline

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func (b *bench) why(text string) ([]Verdict, bool) {
	b.t.Helper()
	v, had, err := Why(b.t.Context(), b.load(text), b.c, filepath.Join(b.dir, "out"))
	if err != nil {
		b.t.Fatal(err)
	}
	return v, had
}

func verdict(vs []Verdict, step string) Verdict {
	i := slices.IndexFunc(vs, func(v Verdict) bool { return v.Step == step })
	if i < 0 {
		return Verdict{}
	}
	return vs[i]
}

func TestWhy(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	vs, had := b.why(fakeManifest)
	if had {
		t.Error("there was a run before the first")
	}
	if v := verdict(vs, "clips.all:a/first"); v.State != WillRun {
		t.Errorf("before the first run: %+v", v)
	}
	if v := verdict(vs, "sum.s"); v.State != MayRun {
		t.Errorf("a block that cannot be cut yet: %+v", v)
	}
	runs := b.w.runs.Load()
	b.must(fakeManifest, Options{})
	if vs, had = b.why(fakeManifest); !had || slices.ContainsFunc(vs, func(v Verdict) bool { return v.State != Same }) {
		t.Errorf("after a run: %v %+v", had, vs)
	}

	glued := strings.Replace(fakeManifest, "clips = clips.all", "clips = clips.all\n  glue = \"+\"", 1)
	vs, _ = b.why(glued)
	if v := verdict(vs, "sum.s/join"); v.State != WillRun || len(v.Changes) != 1 || v.Changes[0] != (Change{"setting glue", `"-"`, `"+"`}) {
		t.Errorf("a changed setting: %+v", v)
	}
	if v := verdict(vs, "file.f/encode"); v.State != MayRun {
		t.Errorf("what depends on it: %+v", v)
	}
	b.must(glued, Options{})
	if v := verdict(first(b.why(fakeManifest)), "sum.s/join"); v.State != Known {
		t.Errorf("back to the old setting: %+v", v)
	}

	b.clip("c", "gamma")
	vs, _ = b.why(glued)
	if v := verdict(vs, "clips.all:c/first"); v.State != WillRun || v.Changes != nil {
		t.Errorf("a new clip: %+v", v)
	}
	if v := verdict(vs, "sum.s/join"); v.State != MayRun {
		t.Errorf("the sum over a new clip: %+v", v)
	}
	if got := b.w.runs.Load() - runs; got != 6 { // 4 of the first run, 2 of the second
		t.Errorf("%d parts ran; why must run none", got)
	}
}

func first(v []Verdict, _ bool) []Verdict { return v }

func TestInputChanges(t *testing.T) {
	g := newGraph(&Manifest{}, nil)
	g.files = newFileSet(&Manifest{}, nil, false)
	h := func(c string) string { return strings.Repeat(c, 64) }
	was := []pair{{"panel", h("a")}, {"panel", h("b")}, {"dark", h("d")}}
	is := []pair{{"panel", h("b")}, {"panel", h("c")}, {"panel", h("e")}}
	got := g.inputChanges(was, is)
	want := []Change{{"input panel", "aaaaaaaaaaaa", "cccccccccccc"}, {"input panel", "", "eeeeeeeeeeee"}, {"input dark", "dddddddddddd", ""}}
	if !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}
