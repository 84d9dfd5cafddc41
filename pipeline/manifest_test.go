package pipeline

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the diagnostics as they are now")

type testBand struct {
	Name        string  `hcl:"name,label"`
	ScaleArcsec float64 `hcl:"scale_arcsec,optional" min:"0" max:"600"`
	Boost       float64 `hcl:"boost" min:"0" max:"50"`
}

type testDeconvolve struct {
	Iterations int `hcl:"iterations,optional" min:"1" max:"500"`
}

func (d *testDeconvolve) SetDefaults() { d.Iterations = 15 }

type testClips struct {
	Files  Files  `hcl:"files"`
	Except Files  `hcl:"except,optional"`
	Order  string `hcl:"byte_order,optional" oneof:"auto little big"`
}

type testClipMasters struct {
	Masters []Ref `hcl:"masters,optional" refs:"master"`
}

type testStack struct {
	Clips Ref       `hcl:"clips" refs:"clips"`
	Keep  string    `hcl:"keep,optional" min:"0.01" max:"1" oneof:"auto"`
	Edge  float64   `hcl:"edge_px,optional" min:"0" max:"64"`
	Whole bool      `hcl:"whole,optional"`
	Turns []float64 `hcl:"turns_deg,optional" min:"-180" max:"180"`
}

type testDetail struct {
	Image      Ref             `hcl:"image" refs:"stack detail"`
	Deconvolve *testDeconvolve `hcl:"deconvolve,block"`
	Bands      []testBand      `hcl:"band,block"`
}

type testOut struct {
	Image Ref    `hcl:"image" refs:"stack detail"`
	File  string `hcl:"file"`
}

// manifestSteps are steps with every kind of setting.
func manifestSteps() []Step {
	nothing := func(*Expansion) error { return nil }
	step := func(name, block string, mk func() any) Step {
		return Step{Name: name, Block: block, New: mk, Expand: nothing}
	}
	detail := step("detail", "detail", func() any { return &testDetail{} })
	detail.Check = func(s any, _ Night) []Problem {
		var out []Problem
		for _, b := range s.(*testDetail).Bands {
			if b.Boost == 1 {
				out = append(out, Problem{Path: "band." + b.Name + ".boost", Text: "a boost of 1 changes nothing", Hint: "drop the band", Warning: true})
			}
			if b.ScaleArcsec == 0 {
				out = append(out, Problem{Path: "band." + b.Name, Text: "the band has no scale", Hint: "add scale_arcsec"})
			}
		}
		return out
	}
	out := step("out", "publish", func() any { return &testOut{} })
	out.Outputs = func(s any) []Output { return []Output{{Path: "file", File: s.(*testOut).File}} }
	return []Step{
		step("captures", "master", func() any { return &testClips{Order: "auto"} }),
		step("captures", "clips", func() any { return &testClips{Order: "auto"} }),
		step("frames", "clips", func() any { return &testClipMasters{} }),
		step("stacks", "stack", func() any { return &testStack{Keep: "0.5"} }),
		detail,
		out,
	}
}

// TestManifests compares what is said of each faulty manifest with what was
// judged right to say. The first line of a case may give overrides: # --set k=v
func TestManifests(t *testing.T) {
	cases, err := filepath.Glob("../testdata/manifests/*/manifest.hcl")
	if err != nil || len(cases) < 25 {
		t.Fatalf("%d cases: %v", len(cases), err)
	}
	for _, file := range cases {
		name := filepath.Base(filepath.Dir(file))
		t.Run(name, func(t *testing.T) {
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var over []Override
			first, _, _ := strings.Cut(string(src), "\n")
			if set, ok := strings.CutPrefix(first, "# --set "); ok {
				k, v, _ := strings.Cut(set, "=")
				over = append(over, Override{k, v})
			}
			m, d := LoadManifest("manifest.hcl", src, manifestSteps(), over)
			if !d.HasErrors() {
				wantCanonical(t, m)
			}
			var got bytes.Buffer
			if err := d.Render(&got, false, 80); err != nil {
				t.Fatal(err)
			}
			want := filepath.Join(filepath.Dir(file), "want.txt")
			if *update {
				if err := os.WriteFile(want, got.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			b, err := os.ReadFile(want)
			if err != nil {
				t.Fatal(err)
			}
			if got.String() != string(b) {
				t.Errorf("it says\n%s\nnot\n%s", got.String(), b)
			}
			if (name[:3] == "ok-") == d.HasErrors() {
				t.Errorf("errors: %v", d.HasErrors())
			}
		})
	}
}

// wantCanonical holds what a good manifest gives to what an action's text takes.
func wantCanonical(t *testing.T, m *Manifest) {
	t.Helper()
	for _, b := range m.Blocks {
		for _, s := range b.Steps {
			if _, err := canonicalSettings(s.Settings); err != nil {
				t.Errorf("%s.%s: %v", b.Kind, b.Name, err)
			}
		}
	}
}

func TestDecodedValues(t *testing.T) {
	src := `
night {
  title = "A night"
  site {
    latitude_deg  = -33.5
    longitude_deg = 151
  }
}
settings {
  keep  = 0.25
  boost = 2
  name  = "disk"
}
master "dark" {
  files = "dark/*.ser"
}
clips "disk" {
  files      = ["a/*.ser", "b/${settings.name}.ser"]
  except     = ["bad.ser"]
  byte_order = "big"
  masters    = [master.dark]
}
stack "p" {
  clips     = clips.disk
  keep      = settings.keep * 2
  whole     = true
  turns_deg = [1, -2.5]
}
detail "d" {
  image = stack.p
  deconvolve {}
  band "fine" {
    scale_arcsec = 1.2
    boost        = settings.boost + 1
  }
  band "wide" {
    scale_arcsec = 4
    boost        = (settings.boost)
  }
}
publish "o" {
  image = detail.d
  file  = "${settings.name}-${settings.boost}.png"
}
`
	m, d := LoadManifest("x.hcl", []byte(src), manifestSteps(), []Override{{"keep", "0.3"}})
	if d.Len() > 0 {
		t.Fatal(d.All())
	}
	if m.Night.Title != "A night" || m.Night.Site == nil || m.Night.Site.LatitudeDeg != -33.5 {
		t.Errorf("night %+v", m.Night)
	}
	want := map[Ref][]any{
		{"clips", "disk"}: {&testClips{Files{"a/*.ser", "b/disk.ser"}, Files{"bad.ser"}, "big"}, &testClipMasters{[]Ref{{"master", "dark"}}}},
		{"stack", "p"}:    {&testStack{Ref{"clips", "disk"}, "0.6", 0, true, []float64{1, -2.5}}},
		{"detail", "d"}: {&testDetail{Ref{"stack", "p"}, &testDeconvolve{15},
			[]testBand{{"fine", 1.2, 3}, {"wide", 4, 2}}}},
		{"publish", "o"}: {&testOut{Ref{"detail", "d"}, "disk-2.png"}},
	}
	for ref, settings := range want {
		b := m.Block(ref)
		for i, s := range settings {
			if !reflect.DeepEqual(b.Steps[i].Settings, s) {
				t.Errorf("%s: %+v, want %+v", ref, b.Steps[i].Settings, s)
			}
		}
	}
	if got := m.Block(Ref{"clips", "disk"}).Refs; !reflect.DeepEqual(got, []Ref{{"master", "dark"}}) {
		t.Errorf("refs %v", got)
	}
	if got := m.Block(Ref{"stack", "p"}).hasFiles; got {
		t.Error("a stack has files")
	}
}

func TestResolveFiles(t *testing.T) {
	dir := t.TempDir()
	for _, f := range []string{"a/1.ser", "a/2.ser", "a/note.txt", "deep/x/y/3.ser", "a/bad.ser", "w[1]/4.ser"} {
		p := filepath.Join(dir, filepath.FromSlash(f))
		if err := os.MkdirAll(filepath.Dir(p), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct{ files, clips, want string }{
		{`["a/*.ser"]`, "", "a/1.ser a/2.ser"},
		{`["**/*.ser"]`, "", "a/1.ser a/2.ser deep/x/y/3.ser w[1]/4.ser"},
		{`["a/1.ser", "a/*.ser"]`, "", "a/1.ser a/2.ser"},
		{`["deep/**/3.ser"]`, "", "deep/x/y/3.ser"},
		{`["w[[]1]/*.ser"]`, "", "w[1]/4.ser"},
		{`["a/../a/./1.ser"]`, "", "a/1.ser"},
		{`["/somewhere/else/y/*.ser"]`, "deep", "deep/x/y/3.ser"},
		{`["3.ser"]`, "deep", "deep/x/y/3.ser"},
	} {
		src := "clips \"c\" {\n  files = " + c.files + "\n  except = [\"bad.ser\"]\n}\n"
		m, d := LoadManifest(filepath.Join(dir, "n.hcl"), []byte(src), manifestSteps(), nil)
		if c.clips != "" {
			c.clips = filepath.Join(dir, c.clips)
		}
		d.Append(m.ResolveFiles(c.clips))
		if d.HasErrors() {
			t.Errorf("%s: %v", c.files, d)
			continue
		}
		var got []string
		for _, p := range m.Blocks[0].Paths {
			rel, err := filepath.Rel(dir, p)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, filepath.ToSlash(rel))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s under %q: %q, want %q", c.files, c.clips, s, c.want)
		}
	}
	for _, bad := range []string{`["none/*.ser"]`, `["a/[.ser"]`} {
		m, d := LoadManifest(filepath.Join(dir, "n.hcl"), []byte("clips \"c\" {\n  files = "+bad+"\n}\n"), manifestSteps(), nil)
		if d.Append(m.ResolveFiles("")); !d.HasErrors() {
			t.Errorf("%s was resolved to %v", bad, m.Blocks[0].Paths)
		}
	}
}

func TestDiagnosticsAsJSON(t *testing.T) {
	_, d := LoadManifest("x.hcl", []byte("stack \"s\" {\n  clips = clips.none\n}\n"), manifestSteps(), nil)
	b, err := json.Marshal(d)
	want := `[{"severity":"error","file":"x.hcl","line":2,"column":11,"end_line":2,"end_column":21,"text":"there is no block clips.none","hint":"there is no clips block at all"}]`
	if err != nil || string(b) != want {
		t.Errorf("%s (%v), want %s", b, err, want)
	}
}

func TestRegistrationMistakesPanic(t *testing.T) {
	nothing := func(*Expansion) error { return nil }
	for name, mk := range map[string]func() any{
		"no struct pointer": func() any { return testOut{} },
		"unknown tag": func() any {
			return &struct {
				A string `hcl:"a,maybe"`
			}{}
		},
		"twice": func() any {
			return &struct {
				A, B string `hcl:"a"`
			}{}
		},
		"map": func() any {
			return &struct {
				A map[string]int `hcl:"a"`
			}{}
		},
		"refs on a number": func() any {
			return &struct {
				A int `hcl:"a" refs:"x"`
			}{}
		},
		"min on a bool": func() any {
			return &struct {
				A bool `hcl:"a" min:"1"`
			}{}
		},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			LoadManifest("x", nil, []Step{{Name: "s", Block: "b", New: mk, Expand: nothing}}, nil)
		}()
	}
}

// No manifest crashes the reader, and equal manifests give equal diagnostics.
func FuzzLoadManifest(f *testing.F) {
	files, err := filepath.Glob("../testdata/manifests/*/manifest.hcl")
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		var out [2]bytes.Buffer
		for i := range out {
			m, d := LoadManifest("m.hcl", src, manifestSteps(), nil)
			if m == nil {
				t.Fatal("no manifest at all")
			}
			if err := d.Render(&out[i], false, 80); err != nil {
				t.Fatal(err)
			}
			if bytes.IndexFunc(out[i].Bytes(), func(c rune) bool { return c != '\n' && obeyed(c) }) >= 0 {
				t.Errorf("%q would reach the terminal", out[i].String())
			}
			if !d.HasErrors() {
				wantCanonical(t, m)
			}
		}
		if !bytes.Equal(out[0].Bytes(), out[1].Bytes()) {
			t.Errorf("two readings say\n%s\nand\n%s", out[0].String(), out[1].String())
		}
	})
}
