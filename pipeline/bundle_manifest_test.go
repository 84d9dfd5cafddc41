package pipeline

import (
	"errors"
	"maps"
	"strings"
	"testing"
)

// rewritten is the text of a manifest of the real kinds of block as it travels.
func rewritten(t *testing.T, src string, r rewriting) (string, error) {
	t.Helper()
	type hint struct {
		Clip Clip    `hcl:"clip,label"`
		East float64 `hcl:"east_arcmin,optional"`
	}
	type mosaic struct {
		Of     Ref    `hcl:"of" refs:"clips"`
		Except []Clip `hcl:"except,optional"`
		Hints  []hint `hcl:"hint,block"`
	}
	steps := []Step{
		{Name: "letters", Block: "clips", New: func() any { return &fakeClips{} }},
		{Name: "mosaic", Block: "mosaic", New: func() any { return &mosaic{} }},
	}
	m, d := LoadManifest("m.hcl", []byte(src), steps, nil)
	if d.HasErrors() {
		t.Fatal(d)
	}
	out, err := m.rewrite(r, newKinds(steps))
	return string(out), err
}

const homely1 = `# Made at 1 Main Street.
night {
  title     = "Moon" // over 1 Main Street
  time_zone = "Europe/Zurich"
  mount     = "altaz"

  /* my roof */
  site {
    latitude_deg  = settings.lat
    longitude_deg = 8.5
  }
  skyline {
    azimuth_deg  = [0, 90]
    altitude_deg = [20, 5]
  }
}

settings {
  lat    = 47.4
  unused = "1 Main Street"
  skip   = ["roof-1", "roof-3"]
}

clips "disk" {
  files  = ["/home/me/1 Main Street/*.ser"]
  except = ["roof-9.ser"]
}

mosaic "m" {
  of     = clips.disk
  except = settings.skip
  hint "roof-2" {
    east_arcmin = 1
  }
  hint "roof-3" {
    east_arcmin = 2
  }
}
`

// What tells of home goes, the rest stays; comments, site and names stay only where they are wanted.
func TestRewrite(t *testing.T) {
	ref, m := Ref{"clips", "disk"}, Ref{"mosaic", "m"}
	r := rewriting{files: map[Ref][]string{ref: {"disk/*.ser"}}, clips: map[Ref]map[string]string{m: {"roof-1": "aa", "roof-2": "bb"}},
		instead: map[Ref]string{m: "views {\n  distance_km = 384400\n}\n"}}
	want := `night {
  title = "Moon"
  mount = "altaz"
}

clips "disk" {
  files = ["disk/*.ser"]
}

mosaic "m" {
  of     = clips.disk
  except = ["aa"]
  hint "bb" {
    east_arcmin = 1
  }
  views {
    distance_km = 384400
  }
}
`
	if got, err := rewritten(t, homely1, r); err != nil || got != want {
		t.Errorf("it travels as\n%s\nwant\n%s\n(%v)", got, want, err)
	}
	r.site, r.comments = true, true
	got, err := rewritten(t, homely1, r)
	if err != nil {
		t.Fatal(err)
	}
	for _, kept := range []string{"# Made at 1 Main Street.", "my roof", "47.4", "Zurich", "skyline", "// over"} {
		if !strings.Contains(got, kept) {
			t.Errorf("%q did not stay in\n%s", kept, got)
		}
	}
	for _, gone := range []string{"/home/me", "roof-", "views", "unused"} {
		if strings.Contains(got, gone) {
			t.Errorf("%q stayed in\n%s", gone, got)
		}
	}
}

// A number that tells where someone was, and does something else too, cannot be left at home unseen.
func TestRewriteTellsOfSharedSettings(t *testing.T) {
	src := strings.Replace(homely1, "east_arcmin = 1", "east_arcmin = settings.lat", 1)
	ref, m := Ref{"clips", "disk"}, Ref{"mosaic", "m"}
	_, err := rewritten(t, src, rewriting{files: map[Ref][]string{ref: {"disk/*"}}, clips: map[Ref]map[string]string{m: {"roof-2": "bb"}}})
	var request *RequestError
	if !errors.As(err, &request) || !strings.Contains(err.Error(), "settings.lat tells where you were") {
		t.Errorf("it says %v", err)
	}
}

// A manifest that begins with panels has neither clips nor stacks.
func TestFromPanels(t *testing.T) {
	got, err := fromPanels([]byte(`settings {
  keep = 0.3
}
clips "c" {
  files = ["c/*.ser"]
}
stack "s" {
  clips = clips.c
  keep  = settings.keep
}
mosaic "m" {
  panels = [stack.s, stack.t]
}
`), map[string]string{"s": "s-3", "t": "t"})
	want := `panels "s-3" {
  files = ["panels/s-3/*.fits"]
}
mosaic "m" {
  panels = [panels.s-3, panels.t]
}
`
	if err != nil || string(got) != want {
		t.Errorf("it is\n%s\nwant\n%s\n(%v)", got, want, err)
	}
}

// What stands for a stack has its name, unless that is taken, and then one that nothing has.
func TestPanelsOfStacks(t *testing.T) {
	m := &Manifest{}
	for _, r := range []Ref{{stackKind, "s"}, {panelsKind, "s"}, {panelsKind, "s-2"}, {stackKind, "s-3"}, {stackKind, "t"}, {"mosaic", "t"}, {"mosaic", "s-4"}} {
		m.Blocks = append(m.Blocks, &Block{Kind: r.Kind, Name: r.Name})
	}
	if got, want := m.panelsOfStacks(), map[string]string{"s": "s-4", "s-3": "s-3", "t": "t"}; !maps.Equal(got, want) {
		t.Errorf("they are called %v, want %v", got, want)
	}
}
