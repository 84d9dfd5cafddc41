package frames

import (
	"errors"
	"fmt"

	"plenilune/pipeline"
)

// shelf holds the night's masters and finds those that fit a clip.
type shelf struct {
	items []pipeline.Item
	index []masterIndex
	made  map[group]masters
	told  map[string]bool
}

func openShelf(x *pipeline.Expansion, refs []pipeline.Ref) (*shelf, error) {
	s := &shelf{made: map[group]masters{}, told: map[string]bool{}}
	items, err := x.Upstream(refs...)
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		var i masterIndex
		err := x.Table(it.Values["index"], &i)
		if errors.Is(err, pipeline.ErrPending) {
			return nil, err
		}
		if err == nil { // a master that failed was told; the clips go without
			s.items, s.index = append(s.items, it), append(s.index, i)
		}
	}
	return s, nil
}

// fit returns the masters of a clip's group, normalising the flat once.
func (s *shelf) fit(x *pipeline.Expansion, idx clipIndex) masters {
	g := idx.group()
	if m, ok := s.made[g]; ok {
		return m
	}
	var m masters
	if d := s.find(g, "dark"); d != nil {
		m.dark, m.hot = d.Values["mean"], d.Values["hot"]
	} else {
		s.warn(x, "dark", g)
	}
	if f := s.find(g, "flat"); f != nil {
		p := flatPart(pipeline.Item{ID: f.ID}, idx)
		p.In = []pipeline.Input{{Port: "flat", Value: f.Values["mean"]}}
		if !m.dark.IsZero() {
			p.In = append(p.In, pipeline.Input{Port: "dark", Value: m.dark})
		}
		m.flat = x.Add(p).Out("flat")
	} else {
		s.warn(x, "flat", g)
	}
	s.made[g] = m
	return m
}

func (s *shelf) find(g group, kind string) *pipeline.Item {
	for i := range s.items {
		if s.index[i].Kind == kind && s.index[i].group() == g {
			return &s.items[i]
		}
	}
	return nil
}

// warn says once why clips run without a kind of master.
func (s *shelf) warn(x *pipeline.Expansion, kind string, g group) {
	any := false
	for _, i := range s.index {
		any = any || i.Kind == kind
	}
	switch {
	case any:
		x.Warn("master-does-not-fit", fmt.Sprintf("no %s frames fit the clips of %d×%d px, %s, %d bit: they run without", kind, g.w, g.h, g.pattern, g.depth))
	case !s.told[kind]:
		s.told[kind] = true
		x.Warn("no-"+kind, fmt.Sprintf("there are no %s frames: the clips run without", kind))
	}
}
