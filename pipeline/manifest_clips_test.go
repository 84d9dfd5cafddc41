package pipeline

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

type testSpot struct {
	Clip Clip    `hcl:"clip,label"`
	East float64 `hcl:"east_arcmin,optional"`
}

type testPick struct {
	From  Ref        `hcl:"from" refs:"stack"`
	Skip  []Clip     `hcl:"skip,optional"`
	First Clip       `hcl:"first,optional"`
	Spots []testSpot `hcl:"spot,block"`
}

func clipSteps() []Step {
	return append(manifestSteps(), Step{Name: "pick", Block: "pick", New: func() any { return &testPick{} },
		Expand: func(*Expansion) error { return nil }})
}

// clipFolder makes empty files.
func clipFolder(t *testing.T, names ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, f := range names {
		p := filepath.Join(dir, filepath.FromSlash(f))
		if err := os.MkdirAll(filepath.Dir(p), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

const clipManifest = `
master "dark" {
  files = ["dark/*.ser"]
}
clips "c" {
  files   = ["one/*.ser", "two/*.ser"]
  masters = [master.dark]
}
stack "s" {
  clips = clips.c
}
pick "p" {
  from  = stack.s
  first = "three.one"
  SKIP
}
`

func TestClipsAreNamedAsElsewhere(t *testing.T) {
	dir := clipFolder(t, "one/a.ser", "one/b.ser", "two/a.ser", "two/three.one.ser", "dark/d.ser")
	for _, c := range []struct{ text, want string }{
		{`skip = ["b"]`, "one/b.ser"},
		{`skip = ["b.ser"]`, "one/b.ser"},
		{`skip = ["one/b.ser"]`, "one/b.ser"},
		{`skip = "one/a"`, ""}, // an ending is left off a name without folders only
		{`skip = ["one/a.ser", "two/a.ser"]`, "one/a.ser two/a.ser"},
		{`skip = ["a"]`, "1 fault: \"a\" may mean 2 clips: write \"one/a.ser\" or \"two/a.ser\""},
		{`skip = ["nothing"]`, "1 fault: there is no clip called \"nothing\": it may be \"b\", \"one/a.ser\", \"three.one\" or \"two/a.ser\""},
		{`skip = ["thre.one"]`, "1 fault: there is no clip called \"thre.one\": did you mean three.one?"},
		{`skip = ["b", "b.ser"]`, "1 fault: \"b.ser\" is named twice: line 15 names it"},
		{"spot \"b\" {\n east_arcmin = 1\n}\n spot \"three.one.ser\" {}", "one/b.ser two/three.one.ser"},
		{"spot \"x y\" {}", "1 fault: there is no clip called \"x y\": it may be \"b\", \"one/a.ser\", \"three.one\" or \"two/a.ser\""},
	} {
		m, d := LoadManifest(filepath.Join(dir, "n.hcl"), []byte(strings.Replace(clipManifest, "SKIP", c.text, 1)), clipSteps(), nil)
		if d.Len() > 0 {
			t.Fatalf("%s: %v", c.text, d.All())
		}
		d = m.ResolveFiles("")
		var got []string
		for _, x := range m.Block(Ref{"pick", "p"}).mentioned {
			if x.text == "three.one" {
				continue
			}
			if rel, err := filepath.Rel(dir, x.path); err == nil && x.path != "" {
				got = append(got, filepath.ToSlash(rel))
			}
		}
		said := strings.Join(got, " ")
		if all := d.All(); len(all) > 0 {
			said = "1 fault: " + all[0].Text + ": " + all[0].Hint
		}
		if c.want == "" {
			if !d.HasErrors() {
				t.Errorf("%s means %s", c.text, said)
			}
			continue
		}
		if said != c.want {
			t.Errorf("%s: %s\nwant %s", c.text, said, c.want)
		}
	}
}

func TestClipSettingsAreDecoded(t *testing.T) {
	m, d := LoadManifest("n.hcl", []byte(strings.Replace(clipManifest, "SKIP", "skip = [\"x\"]\n spot \"y.ser\" {\n east_arcmin = 2\n}", 1)), clipSteps(), nil)
	want := &testPick{Ref{"stack", "s"}, []Clip{"x"}, "three.one", []testSpot{{"y.ser", 2}}}
	if got := m.Block(Ref{"pick", "p"}).Steps[0].Settings; d.Len() > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v; %v", got, want, d.All())
	}
}

func TestBlockForAClipNamesOne(t *testing.T) {
	for text, want := range map[string]string{
		"spot {}":                           "this spot block names no clip",
		`spot " " {}`:                       "this spot block names no clip",
		`spot "a" "b" {}`:                   "a spot block is for one clip",
		"spot \"a\" {\n}\n spot \"a\" {\n}": "there are two blocks spot \"a\"",
	} {
		_, d := LoadManifest("n.hcl", []byte(strings.Replace(clipManifest, "SKIP", text, 1)), clipSteps(), nil)
		if all := d.All(); len(all) != 1 || all[0].Text != want {
			t.Errorf("%s: %v, want %q", text, all, want)
		}
	}
}
