package frames

import (
	"errors"
	"fmt"
	"strings"

	"plenilune/pipeline"
)

// shelf holds the night's masters and finds those that fit a clip.
type shelf struct {
	masters []master
	flats   map[[2]pipeline.ID]pipeline.Value // normalised, by the ids of flat and dark
	told    map[string]bool
	clips   float64 // mean level of the brightest clip, share of white
}

// master is a dark or a flat on the shelf.
type master struct {
	item   pipeline.Item
	index  masterIndex
	own    *master  // dark of a flat's own exposure
	dimmer []string // clips that a dark is brighter than
}

// masters are the dark and the flat of a clip.
type masters struct {
	dark, hot, flat pipeline.Value
}

func openShelf(x *pipeline.Expansion, refs []pipeline.Ref) (*shelf, error) {
	s := &shelf{flats: map[[2]pipeline.ID]pipeline.Value{}, told: map[string]bool{}}
	items, err := x.Upstream(refs...)
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		m := master{item: it}
		if err := x.Table(it.Values["index"], &m.index); errors.Is(err, pipeline.ErrPending) {
			return nil, err
		} else if err != nil {
			continue // a master that failed was told; the clips go without
		}
		if v := it.Values["dark"]; !v.IsZero() {
			m.own = &master{item: pipeline.Item{ID: it.ID, Values: map[string]pipeline.Value{"mean": v}}}
			if err := x.Table(it.Values["dark_index"], &m.own.index); err != nil {
				return nil, err
			}
		}
		s.masters = append(s.masters, m)
	}
	return s, nil
}

// fit returns the masters of a clip, normalising each pair of flat and dark once.
func (s *shelf) fit(x *pipeline.Expansion, clip string, idx clipIndex, used camera) masters {
	var out masters
	what := "the clips of " + idx.group().String()
	d := s.find(x, "dark", what, idx.group(), used, true)
	switch {
	case d == nil:
	case d.brighterThan(idx.Level):
		d.dimmer = append(d.dimmer, clip)
	default:
		out.dark, out.hot = d.item.Values["mean"], d.item.Values["hot"]
	}
	if f := s.find(x, "flat", what, idx.group(), used, false); f != nil {
		out.flat = s.normal(x, f, d, idx)
	}
	return out
}

// normal returns a flat without its dark and over its mean; none if it would do harm.
func (s *shelf) normal(x *pipeline.Expansion, f, ofClips *master, idx clipIndex) pipeline.Value {
	dark := s.darkOf(x, f, ofClips)
	pair := [2]pipeline.ID{f.item.ID}
	level := 0.0
	if dark != nil {
		pair[1], level = dark.item.ID, dark.index.Level
	}
	if v, ok := s.flats[pair]; ok {
		return v
	}
	if why := f.harmsAsFlat(level); why != "" {
		s.say(x, "master-absurd", fmt.Sprintf("the flat frames are not used: %s", why))
		s.flats[pair] = pipeline.Value{}
		return pipeline.Value{}
	}
	p := flatPart(pipeline.Item{ID: f.item.ID}, idx)
	p.In = []pipeline.Input{{Port: "flat", Value: f.item.Values["mean"]}}
	if dark != nil {
		p.In = append(p.In, pipeline.Input{Port: "dark", Value: dark.item.Values["mean"]})
	}
	s.flats[pair] = x.Add(p).Out("flat")
	return s.flats[pair]
}

// darkOf returns the dark that is taken off a flat: its own, or that of the clips, or
// another one, unless it is known to be of another exposure or gain.
func (s *shelf) darkOf(x *pipeline.Expansion, f, ofClips *master) *master {
	d := f.own
	if d == nil && ofClips != nil && len(differences(ofClips.index.group(), f.index.group(), ofClips.index.camera(), f.index.camera(), true)) == 0 {
		d = ofClips
	}
	var why []string
	if d == nil {
		d, why = s.nearest("dark", f.index.group(), f.index.camera(), true)
	}
	switch {
	case d != nil && d != f.own && d.brighterThan(s.clips):
		d = nil // told where it was not taken off the clips
	case d == nil && why != nil:
		s.say(x, "master-does-not-fit", fmt.Sprintf("no dark frames fit the flat frames of %s: the nearest differ in %s; their dark level stays in them: "+
			"record some, and name them by masters in the flats' block", f.index.group(), strings.Join(why, ", ")))
	case d != nil && d.index.Level >= f.index.Level:
		s.say(x, "master-absurd", fmt.Sprintf("the dark frames (%s of white) are no darker than the flat frames (%s): they are not taken off them", percent(d.index.Level), percent(f.index.Level)))
		d = nil
	}
	return d
}

// find returns the master of a kind that fits, or says once why there is none.
func (s *shelf) find(x *pipeline.Expansion, kind, what string, g group, used camera, timed bool) *master {
	m, why := s.nearest(kind, g, used, timed)
	switch {
	case m != nil:
	case why != nil:
		s.say(x, "master-does-not-fit", fmt.Sprintf("no %s frames fit %s: the nearest differ in %s; they run without", kind, what, strings.Join(why, ", ")))
	default:
		s.say(x, "no-"+kind, fmt.Sprintf("there are no %s frames: the clips run without", kind))
	}
	return m
}

// nearest returns the master of a kind that fits, of several the one of which most
// is known to agree, of those the first; or in what the nearest one differs.
func (s *shelf) nearest(kind string, g group, used camera, timed bool) (*master, []string) {
	var best *master
	var nearest []string
	for i := range s.masters {
		m := &s.masters[i]
		if m.index.Kind != kind {
			continue
		}
		why := differences(m.index.group(), g, m.index.camera(), used, timed)
		if len(why) > 0 && (nearest == nil || len(why) < len(nearest)) {
			nearest = why
		}
		if len(why) == 0 && (best == nil || m.index.camera().known(used) > best.index.camera().known(used)) {
			best = m
		}
	}
	return best, nearest
}

// tellBright names the clips that a dark was not taken off since it is brighter.
func (s *shelf) tellBright(x *pipeline.Expansion) {
	for _, m := range s.masters {
		if n := len(m.dimmer); n > 0 {
			names := strings.Join(m.dimmer[:min(n, numbersMost)], ", ")
			if n > numbersMost {
				names += fmt.Sprintf(" and %d more", n-numbersMost)
			}
			x.Warn("master-absurd", fmt.Sprintf("the dark frames (%s of white) are brighter than %s: they are not taken off", percent(m.index.Level), names))
		}
	}
}

// say warns once.
func (s *shelf) say(x *pipeline.Expansion, code, text string) {
	if !s.told[text] {
		s.told[text] = true
		x.Warn(code, text)
	}
}
