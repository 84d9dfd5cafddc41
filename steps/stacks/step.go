// Package stacks joins the best frames of each clip into one clean panel.
package stacks

import (
	"errors"
	"slices"

	"plenilune/pipeline"
)

// Settings is a stack block of the manifest.
type Settings struct {
	Clips pipeline.Ref `hcl:"clips" refs:"clips"`
	// Keep is the share of a clip's usable frames that is used, the sharpest first, or KeepAuto.
	Keep string `hcl:"keep,optional" oneof:"auto" min:"0.01" max:"1"`
	// Scale is how many pixels of the stack, along a side, show one of the sensor: more than one where the camera's pixels
	// are too coarse for what the telescope resolves.
	Scale float64 `hcl:"scale,optional" min:"1" max:"2"`
}

// Versions of the parts.
const (
	referenceVersion = 10
	blockVersion     = 7
	meanVersion      = 13
)

// DefaultKeep is the share of frames used unless said otherwise.
const DefaultKeep = KeepAuto

// Step serves stack blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "stacks",
		Block:  "stack",
		New:    func() any { return &Settings{Keep: DefaultKeep, Scale: 1} },
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
	var pending error
	told := false
	for _, it := range items {
		var idx clipIndex
		var tab clipFrames
		err := x.Table(it.Values["index"], &idx)
		if err == nil {
			err = x.Table(it.Values["frames"], &tab)
		}
		if errors.Is(err, pipeline.ErrPending) {
			pending = err // the others' stacks may be known
			continue
		}
		if err != nil {
			continue // told where it failed
		}
		if len(ranked(tab.Grade)) == 0 {
			continue // a clip without one sound frame; told where it was graded
		}
		if !told {
			told = warnSampling(x, set.Scale, wavelengthOf(x, it))
		}
		x.Emit(stack(x, it, idx, tab, *set))
	}
	return pending
}

// stack cuts one clip's stack into parts: the reference, the fields in blocks of
// frames, and the mean.
func stack(x *pipeline.Expansion, it pipeline.Item, idx clipIndex, tab clipFrames, set Settings) pipeline.Item {
	var in []pipeline.Input
	for _, port := range []string{"file", "index", "frames", "dark", "flat", "hot"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	// Slices of inputs are clipped, so that parts do not share what they append.
	in = slices.Clip(in)
	blocks := blocksFor(tab.Grade, Kept(len(ranked(tab.Grade)), set.Keep))
	if tab.SkyOnly {
		blocks = nil // there is nothing to hold on to
	}
	need := needs{idx.Layout, tab.canvas(idx.Layout), set.Scale}
	own := pipeline.Item{ID: it.ID}
	mean := pipeline.Part{
		Name: "mean", Item: own, Version: meanVersion, In: in, Out: []string{"image", "weight", "noise", "count", "full", "panel", "spectrum", "track", "finest"},
		Memory: need.mean(BlockFrames * len(blocks)), Run: pipeline.Bind(runMean),
	}
	if len(blocks) > 0 {
		ref := x.Add(pipeline.Part{
			Name: "reference", Item: own, Version: referenceVersion, In: in, Out: []string{"reference", "colours"},
			Memory: need.reference(), Run: runReference,
		})
		mean.In = append(mean.In, pipeline.Input{Port: "colours", Value: ref.Out("colours")}, pipeline.Input{Port: "reference", Value: ref.Out("reference")})
		with := append(in, pipeline.Input{Port: "reference", Value: ref.Out("reference")})
		for _, b := range blocks {
			n := x.Add(pipeline.Part{
				Name: b.name(), Item: own, Version: blockVersion, Settings: b, In: with, Out: []string{"fields"},
				Memory: need.block(), Run: pipeline.Bind(runBlock),
			})
			mean.In = append(mean.In, pipeline.Input{Port: "fields", Value: n.Out("fields")})
		}
	}
	mean.Settings = meanSettings{set.Keep, set.Scale, blocks}
	n := x.Add(mean)
	for _, port := range mean.Out {
		it = it.With(port, n.Out(port))
	}
	if p, ok := resolutionPart(x.Night(), it); ok {
		x.Add(p)
	}
	return it
}
