package pipeline

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

const varySource = `settings {
  keep = "auto" # a remark
}
clips "disk" {
  files = ["*.ser"]
}
stack "panels" {
  clips = clips.disk
  keep  = settings.keep
}
detail "soft" {
  image = stack.panels
}
detail "crisp" {
  image = stack.panels
  deconvolve {
    iterations = 5
  }
  band "fine" {
    scale_arcsec = 1
    boost        = 1.5
  }
}
detail "twice" {
  image = detail.crisp
}
publish "both" {
  image = detail.twice
  file  = "a.png"
}
`

func varyManifest(t *testing.T) *Manifest {
	t.Helper()
	m, d := LoadManifest("night.hcl", []byte(varySource), manifestSteps(), nil)
	if err := d.Err(); err != nil {
		t.Fatal(err)
	}
	return m
}

// Copies stand beside what is there: those of the changed block and of what lies
// between it and the last, each naming the copy before it; nothing else changes.
func TestVaryCopiesTheChain(t *testing.T) {
	m := varyManifest(t)
	v, err := Vary(m, manifestSteps(), nil, [][]Tweak{
		{{"detail.crisp.fine.boost", "3"}}, {{"detail.crisp.deconvolve.iterations", "9"}},
	}, Ref{"detail", "twice"})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(v.Source), varySource) {
		t.Error("the manifest itself was changed")
	}
	all, d := LoadManifest("night.hcl", v.Source, manifestSteps(), nil)
	if err := d.Err(); err != nil {
		t.Fatalf("%v in\n%s", err, v.Source)
	}
	for i, of := range v.Of {
		if len(of) != 2 {
			t.Errorf("variant %d copies %v, want detail.crisp and detail.twice", i, of)
		}
		twice := all.Block(of[Ref{"detail", "twice"}])
		if want := []Ref{of[Ref{"detail", "crisp"}]}; !reflect.DeepEqual(twice.Refs, want) {
			t.Errorf("variant %d: the second detail is of %v, want %v", i, twice.Refs, want)
		}
	}
	set := func(i int) *testDetail {
		return all.Block(v.Of[i][Ref{"detail", "crisp"}]).Steps[0].Settings.(*testDetail)
	}
	if b, it := set(0).Bands[0].Boost, set(0).Deconvolve.Iterations; b != 3 || it != 5 {
		t.Errorf("first variant: boost %v, iterations %v", b, it)
	}
	if b, it := set(1).Bands[0].Boost, set(1).Deconvolve.Iterations; b != 1.5 || it != 9 {
		t.Errorf("second variant: boost %v, iterations %v", b, it)
	}
}

// A setting that is not written, or that names settings, takes a value too.
func TestVarySetsWhatIsNotWritten(t *testing.T) {
	m := varyManifest(t)
	v, err := Vary(m, manifestSteps(), nil, [][]Tweak{{{"stack.panels.edge_px", "7"}, {"stack.panels.keep", "0.25"}, {"stack.panels.whole", "true"}}}, Ref{"detail", "soft"})
	if err != nil {
		t.Fatal(err)
	}
	all, d := LoadManifest("night.hcl", v.Source, manifestSteps(), nil)
	if err := d.Err(); err != nil {
		t.Fatal(err)
	}
	s := all.Block(v.Of[0][Ref{"stack", "panels"}]).Steps[0].Settings.(*testStack)
	if s.Edge != 7 || s.Keep != "0.25" || !s.Whole {
		t.Errorf("%+v", s)
	}
}

func TestVarySaysWhatThereIs(t *testing.T) {
	m := varyManifest(t)
	for _, c := range []struct{ path, value, want string }{
		{"boost", "1", "write KIND.NAME.SETTING"},
		{"detail.crips.fine.boost", "1", "did you mean detail.crisp?"},
		{"detail.crisp.fien.boost", "1", "no setting fien"},
		{"detail.crisp.fine.scale", "1", "did you mean scale_arcsec?"},
		{"detail.crisp.width", "1", "deconvolve.iterations, fine.scale_arcsec and fine.boost"},
		{"detail.soft.deconvolve.iterations", "1", "write it there first"},
		{"detail.crisp.fine.boost", "77", "from 0 to 50"},
		{"detail.crisp.fine.boost", `${1}`, "boost is a number"},
		{"detail.soft.image", "x", "image"},
	} {
		_, err := Vary(m, manifestSteps(), nil, [][]Tweak{{{c.path, c.value}}}, Ref{"detail", "twice"})
		var request *RequestError
		if !errors.As(err, &request) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s=%s: %v, want %q", c.path, c.value, err, c.want)
		}
	}
	if _, err := Vary(m, manifestSteps(), nil, [][]Tweak{{{"detail.crisp.fine.boost", "2"}}}, Ref{"detail", "soft"}); err == nil {
		t.Error("a block that has no part in the last was varied")
	}
}
