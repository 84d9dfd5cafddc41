package frames

import (
	"slices"
	"testing"

	"plenilune/steps/format/raw"
)

func TestDifferences(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	g := group{640, 480, 1, 12, "RGGB"}
	other := group{320, 480, 1, 8, "GRBG"}
	for _, c := range []struct {
		name         string
		master       group
		made, wanted camera
		timed        bool
		want         []string
	}{
		{"all unknown", g, camera{}, camera{}, true, nil},
		{"unknown fits anything", g, camera{at(20), nil}, camera{nil, at(0)}, true, nil},
		{"equal", g, camera{at(20), at(0)}, camera{at(20), at(0)}, true, nil},
		{"rounded", g, camera{at(20.1), at(100)}, camera{at(20), at(100)}, true, nil},
		{"another exposure", g, camera{at(40), at(100)}, camera{at(20), at(100)}, true, []string{"exposure (40 ms, not 20 ms)"}},
		{"of a flat it matters not", g, camera{at(40), at(100)}, camera{at(20), at(100)}, false, nil},
		{"another gain", g, camera{nil, at(0)}, camera{nil, at(1)}, false, []string{"gain (0, not 1)"}},
		{"all else", other, camera{}, camera{}, true, []string{"size (320×480 px, not 640×480 px)", "colours (GRBG, not RGGB)", "depth (8 bit, not 12 bit)"}},
	} {
		if got := differences(c.master, g, c.made, c.wanted, c.timed); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestNearestMaster(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	dark := func(w int, ms, gain *float64) master {
		return master{index: masterIndex{Width: w, Height: 480, Planes: 1, Pattern: "mono", Depth: 8, Kind: "dark", ExposureMS: ms, Gain: gain}}
	}
	s := &shelf{masters: []master{dark(640, nil, nil), dark(640, at(20), nil), dark(640, at(20), at(5)), dark(320, at(20), at(5))}}
	g := group{640, 480, 1, 8, "mono"}
	for _, c := range []struct {
		used camera
		want int
	}{{camera{}, 0}, {camera{at(20), nil}, 1}, {camera{at(20), at(5)}, 2}, {camera{at(20), at(6)}, 1}, {camera{at(9), at(6)}, 0}} {
		if m, why := s.nearest("dark", g, c.used, true); m != &s.masters[c.want] {
			t.Errorf("used %+v: found %+v, %v, want the one numbered %d", c.used, m, why, c.want)
		}
	}
	s.masters = s.masters[2:]
	if m, why := s.nearest("dark", g, camera{at(9), at(5)}, true); m != nil || !slices.Equal(why, []string{"exposure (20 ms, not 9 ms)"}) {
		t.Errorf("found %+v, differs in %v: want the one of the same size named", m, why)
	}
	if m, why := s.nearest("flat", g, camera{}, false); m != nil || why != nil {
		t.Errorf("there is no flat: %+v, %v", m, why)
	}
}

// Masters and clips may hold the colours of a pixel in either order: they are read alike.
func TestOrderOfColoursIsNoDifference(t *testing.T) {
	c := clipIndex{Layout: raw.Layout{Width: 8, Height: 6, Planes: 3}, Depth: 8, FilePattern: raw.BGR}
	m := masterIndex{Width: 8, Height: 6, Planes: 3, Depth: 8, Pattern: raw.RGB}
	if c.group() != m.group() {
		t.Errorf("%v and %v differ", c.group(), m.group())
	}
	if c.FilePattern = raw.Mono; c.group() == m.group() {
		t.Error("grey and colour do not differ")
	}
}
