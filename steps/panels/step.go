// Package panels starts a night from panels that were stacked earlier, by this program or elsewhere, where the clips are
// no longer at hand.
package panels

import (
	"errors"
	"fmt"

	"plenilune/pipeline"
)

// Settings is a panels block of the manifest.
type Settings struct {
	Files  pipeline.Files `hcl:"files"`
	Except pipeline.Files `hcl:"except,optional"`
}

// Step serves panels blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "panels",
		Block:  "panels",
		New:    func() any { return &Settings{} },
		Expand: expand,
	}
}

func expand(x *pipeline.Expansion) error {
	items := x.Items()
	heads := make([]pipeline.Value, len(items))
	for i, it := range items {
		heads[i] = x.Add(headPart(it)).Out("head")
	}
	x.Emit()
	var pending error
	seen := map[pipeline.ID]pipeline.ID{}
	for i, it := range items {
		var h head
		if err := x.Table(heads[i], &h); errors.Is(err, pipeline.ErrPending) {
			pending = err
			continue
		} else if err != nil {
			continue // told where it failed
		}
		stem := h.From
		if first, ok := seen[stem]; ok {
			x.Warn("panel-twice", fmt.Sprintf("%s and %s were stacked from the same clip, and only the first is used",
				pipeline.ClipName(first), pipeline.ClipName(it.ID)))
			continue
		}
		seen[stem] = it.ID
		x.StandFor(it.ID, stem)
		x.Emit(read(x, it, stem, h))
	}
	return pending
}

// read adds the part that takes a panel with all its planes and tables from its file.
func read(x *pipeline.Expansion, it pipeline.Item, stem pipeline.ID, h head) pipeline.Item {
	p := pipeline.Part{
		Name: "read", Item: pipeline.Item{ID: stem}, Version: 1,
		In:  []pipeline.Input{{Port: "file", Value: it.Values["file"]}},
		Out: append(append([]string{}, h.Planes...), h.Tables...), Memory: 64 << 20, Run: runRead,
	}
	ports := p.Out
	if h.Record {
		p.Out, p.Lineage = append(p.Out[:len(p.Out):len(p.Out)], recordPort), recordPort
	}
	n := x.Add(p)
	out := pipeline.Item{ID: stem}
	for _, port := range ports {
		out = out.With(port, n.Out(port))
	}
	return out
}
