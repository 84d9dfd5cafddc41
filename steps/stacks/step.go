// Package stacks joins the best frames of each clip into one clean panel.
package stacks

import (
	"errors"
	"slices"
	"strconv"

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
	// Quick, which no manifest sets, tells of which clips a quick stack is enough, by content: see quick. Nil: of none.
	Quick func(clip pipeline.ID) bool
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
	need := needs{idx.Layout, tab.canvas(idx.Layout), set.Scale}
	if set.Quick != nil && set.Quick(it.ID) {
		return outOf(x, it, quick(need, tab, set, in))
	}
	blocks := blocksFor(tab.Grade, Kept(len(ranked(tab.Grade)), set.Keep))
	if tab.SkyOnly {
		blocks = nil // there is nothing to hold on to
	}
	own := pipeline.Item{ID: it.ID}
	mean := meanPart(need, BlockFrames*len(blocks), in)
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
	it = outOf(x, it, mean)
	if p, ok := resolutionPart(x.Night(), it); ok {
		x.Add(p)
	}
	return it
}

// meanPart is the part that adds frames, with the fields of so many of them.
func meanPart(need needs, fields int, in []pipeline.Input) pipeline.Part {
	return pipeline.Part{
		Name: "mean", Version: meanVersion, In: in, Out: []string{"image", "weight", "noise", "count", "full", "panel", "spectrum", "track", "finest"},
		Memory: need.mean(fields), Run: pipeline.Bind(runMean),
	}
}

// quickFrames is how many frames a quick stack adds at most: they leave an eighth of a frame's noise.
const quickFrames = 64

// quick is the part that adds a clip's few best frames by their shifts alone: a tenth of a stack's work, good to see and to place
// the panel while the night goes on.
func quick(need needs, tab clipFrames, set Settings, in []pipeline.Input) pipeline.Part {
	p := meanPart(need, 0, in)
	p.Name = "quick"
	if n := len(ranked(tab.Grade)); Kept(n, set.Keep) > quickFrames {
		set.Keep = strconv.FormatFloat(float64(quickFrames)/float64(n), 'f', -1, 64)
	}
	p.Settings = meanSettings{Keep: set.Keep, Scale: set.Scale}
	return p
}

// outOf adds a part and gives the item what comes out of it.
func outOf(x *pipeline.Expansion, it pipeline.Item, p pipeline.Part) pipeline.Item {
	p.Item = pipeline.Item{ID: it.ID}
	n := x.Add(p)
	for _, port := range p.Out {
		it = it.With(port, n.Out(port))
	}
	return it
}
