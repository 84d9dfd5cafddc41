// Package frames takes the camera's marks out of the frames of a clip, judges
// how sharp each is, and follows the Moon through them.
package frames

import (
	"errors"
	"fmt"
	"strings"

	"plenilune/pipeline"
)

// MasterSettings is what this stage reads of a master block.
type MasterSettings struct {
	// Kind is what the frames are of; by default what the block's name begins with.
	Kind string `hcl:"kind,optional" oneof:"dark flat"`
}

// ClipSettings is what this stage reads of a clips block.
type ClipSettings struct {
	Masters []pipeline.Ref `hcl:"masters,optional" refs:"master"`
}

// Masters serves master blocks: one master of each group of like clips.
func Masters() pipeline.Step {
	return pipeline.Step{
		Name:   "frames",
		Block:  "master",
		New:    func() any { return &MasterSettings{} },
		Expand: expandMasters,
	}
}

// Step serves clips blocks: each clip gets its masters and a table of its frames.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "frames",
		Block:  "clips",
		New:    func() any { return &ClipSettings{} },
		Expand: expandClips,
	}
}

// kindOf tells what a master's frames are of.
func kindOf(kind, name string) (string, error) {
	if kind != "" {
		return kind, nil
	}
	for _, k := range []string{"dark", "flat"} {
		if strings.HasPrefix(strings.ToLower(name), k) {
			return k, nil
		}
	}
	return "", fmt.Errorf("the name does not tell whether these are dark or flat frames: add kind = \"dark\" or kind = \"flat\"")
}

// indexed reads the items' indices; items whose capture could not be read, or
// holds no frame, are left out.
func indexed(x *pipeline.Expansion, items []pipeline.Item) ([]pipeline.Item, []clipIndex, error) {
	var out []pipeline.Item
	var idx []clipIndex
	for _, it := range items {
		var i clipIndex
		err := x.Table(it.Values["index"], &i)
		if errors.Is(err, pipeline.ErrPending) {
			return nil, nil, err
		}
		if err == nil && !i.Empty {
			out, idx = append(out, it), append(idx, i)
		}
	}
	return out, idx, nil
}

func expandMasters(x *pipeline.Expansion) error {
	kind, err := kindOf(x.Settings().(*MasterSettings).Kind, x.Name())
	if err != nil {
		return err
	}
	items, idx, err := indexed(x, x.Items())
	if err != nil {
		return err
	}
	var out []pipeline.Item
	done := map[group]bool{}
	for i := range items {
		g := idx[i].group()
		if done[g] {
			continue
		}
		done[g] = true
		var in []pipeline.Input
		n := 0
		for j := i; j < len(items); j++ {
			if idx[j].group() == g {
				n++
				in = append(in, pipeline.Input{Port: "file", Value: items[j].Values["file"]},
					pipeline.Input{Port: "index", Value: items[j].Values["index"]})
			}
		}
		p := meanPart(pipeline.Item{ID: items[i].ID}, kind, idx[i], n)
		p.In = in
		node := x.Add(p)
		it := pipeline.Item{ID: items[i].ID, Values: map[string]pipeline.Value{}}
		for _, port := range p.Out {
			it.Values[port] = node.Out(port)
		}
		out = append(out, it)
	}
	x.Emit(out...)
	return nil
}

// masters are the dark and the flat of one group of clips.
type masters struct {
	dark, hot, flat pipeline.Value
}

func expandClips(x *pipeline.Expansion) error {
	set := x.Settings().(*ClipSettings)
	items, idx, err := indexed(x, x.Items())
	if err != nil {
		return err
	}
	shelf, err := openShelf(x, set.Masters)
	if err != nil {
		return err
	}
	for i, it := range items {
		m := shelf.fit(x, idx[i])
		for port, v := range map[string]pipeline.Value{"dark": m.dark, "hot": m.hot, "flat": m.flat} {
			if !v.IsZero() {
				it = it.With(port, v)
			}
		}
		p := gradePart(pipeline.Item{ID: it.ID}, idx[i])
		for _, port := range []string{"file", "index", "dark", "flat", "hot"} {
			if v := it.Values[port]; !v.IsZero() {
				p.In = append(p.In, pipeline.Input{Port: port, Value: v})
			}
		}
		x.Emit(it.With("frames", x.Add(p).Out("frames")))
	}
	if len(items) == 0 {
		x.Emit()
	}
	return nil
}
