// Package stacks joins the best frames of each clip into one clean panel.
package stacks

import (
	"errors"

	"plenilune/pipeline"
)

// Settings is a stack block of the manifest.
type Settings struct {
	Clips pipeline.Ref `hcl:"clips" refs:"clips"`
	// Keep is the share of a clip's usable frames that is used, the sharpest first.
	Keep float64 `hcl:"keep,optional" min:"0.01" max:"1"`
}

// DefaultKeep is the share of frames used unless said otherwise.
const DefaultKeep = 0.5

// Step serves stack blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "stacks",
		Block:  "stack",
		New:    func() any { return &Settings{Keep: DefaultKeep} },
		Expand: expand,
	}
}

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := x.Upstream(set.Clips)
	if err != nil {
		return err
	}
	x.Emit()
	for _, it := range items {
		var idx clipIndex
		err := x.Table(it.Values["index"], &idx)
		if errors.Is(err, pipeline.ErrPending) {
			return err
		}
		if err != nil {
			continue // told where it failed
		}
		x.Emit(stack(x, it, idx, *set))
	}
	return nil
}

func stack(x *pipeline.Expansion, it pipeline.Item, idx clipIndex, set Settings) pipeline.Item {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height)
	p := pipeline.Part{
		Name: "mean", Item: it, Version: 1, Settings: meanSettings{set.Keep},
		Out:    []string{"image", "weight", "panel"},
		Memory: px*4*int64(batch*idx.Layout.Planes+6*channels(idx.Layout)) + 64<<20,
		Run:    pipeline.Bind(runMean),
	}
	for _, port := range []string{"file", "index", "frames", "dark", "flat", "hot"} {
		if v := it.Values[port]; !v.IsZero() {
			p.In = append(p.In, pipeline.Input{Port: port, Value: v})
		}
	}
	n := x.Add(p)
	for _, port := range p.Out {
		it = it.With(port, n.Out(port))
	}
	return it
}
