// Package mosaic joins stacked panels into one picture: where each panel lies, how bright it is against the
// others, and what is shown where they overlap. Panels come in any order, turned any way.
package mosaic

import (
	"errors"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// Settings is a mosaic block of the manifest.
type Settings struct {
	Panels []pipeline.Ref `hcl:"panels" refs:"stack"`
	// Except names clips whose panels are left out of the joining.
	Except []pipeline.Clip `hcl:"except,optional"`
	// Hints say where panels lie that matching cannot place.
	Hints []Hint `hcl:"hint,block"`
	// Extent says whether a whole disk is expected, so that lit ground that no panel shows is a hole, or a
	// region, in which only enclosed gaps are.
	Extent string `hcl:"extent,optional" oneof:"auto disk region"`
	// Orientation states how the Moon lies in the picture, where it is not found, or found wrongly.
	Orientation *Orientation `hcl:"orientation,block"`
	// Sphere says whether panels are carried over the turning Moon to one epoch, where site and times are known.
	Sphere bool `hcl:"sphere,optional"`
}

// Step serves mosaic blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "mosaic",
		Block:  "mosaic",
		New:    func() any { return &Settings{Extent: "auto", Sphere: true} },
		Check:  checkHints,
		Expand: expand,
	}
}

// perPanel is a guess at the bytes a panel takes in memory while all are looked at together.
const perPanel = 24 << 20

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := x.Upstream(set.Panels...)
	if err != nil {
		return err
	}
	if items = without(x, items, set.Except); len(items) == 0 {
		return errors.New("there is no panel to join: except leaves out every clip; take one off its list")
	}
	if items, err = x.Alive(items); err != nil {
		return err
	}
	if len(items) == 0 {
		return errors.New("there is no panel to join: no clip gave a stack")
	}
	slices.SortStableFunc(items, func(a, b pipeline.Item) int { return strings.Compare(a.ID.String(), b.ID.String()) })
	var look, pixels, weights, fulls, noises, tables []pipeline.Input
	ids := make([]string, len(items))
	for i, it := range items {
		n := x.Add(lookPart(it))
		look = append(look, pipeline.Input{Port: "points", Value: n.Out("points")}, pipeline.Input{Port: "even", Value: n.Out("even")})
		pixels = append(pixels, pipeline.Input{Port: "image", Value: it.Values["image"]})
		weights = append(weights, pipeline.Input{Port: "weight", Value: it.Values["weight"]})
		fulls = append(fulls, pipeline.Input{Port: "full", Value: it.Values["full"]})
		noises = append(noises, pipeline.Input{Port: "noise", Value: it.Values["noise"]})
		tables = append(tables, pipeline.Input{Port: "panel", Value: it.Values["panel"]})
		ids[i] = it.ID.String()
	}
	memory := int64(len(items)+4) * perPanel
	how := hintsFor(x, items, set)
	if how.Epoch, how.Views, how.NoViews, err = viewsFor(x, items, set.Sphere); err != nil {
		return err
	}
	if how.Views != nil {
		how.Mount = x.Night().Mount
	}
	place := x.Add(placePart(slices.Concat(look, pixels, fulls, tables), memory, how))
	geometry := []pipeline.Input{{Port: "geometry", Value: place.Out("geometry")}}
	levels := x.Add(levelsPart(slices.Concat(geometry, pixels, fulls, tables), memory,
		levelsSettings{ids, set.Extent, x.Night().ScaleArcsecPerPx()}))
	geometry = append(geometry, pipeline.Input{Port: "levels", Value: levels.Out("levels")})
	sharp := x.Add(sharpPart(slices.Concat(geometry, pixels, fulls, tables), memory))
	geometry = append(geometry, pipeline.Input{Port: "sharpness", Value: sharp.Out("sharpness")})
	join := x.Add(joinPart(slices.Concat(geometry, pixels, weights, fulls, noises, tables), memory))
	out := pipeline.Item{Values: map[string]pipeline.Value{
		"image":      join.Out("image"),
		"weight":     join.Out("weight"),
		"source":     join.Out("source"),
		"coverage":   join.Out("coverage"),
		"noise":      join.Out("noise"),
		"placements": levels.Out("placements"),
	}}
	face := x.Add(orientPart([]pipeline.Input{{Port: "image", Value: join.Out("image")}, {Port: "placements", Value: levels.Out("placements")}}, set.Orientation))
	out = out.With("orientation", face.Out("orientation"))
	if p, ok := lightPart(items); ok {
		out = out.With("light", x.Add(p).Out("light"))
	}
	x.Emit(out)
	return nil
}

// without leaves out the panels of the clips named.
func without(x *pipeline.Expansion, items []pipeline.Item, except []pipeline.Clip) []pipeline.Item {
	for _, name := range except {
		if id, ok := x.Clip(name); ok {
			items = slices.DeleteFunc(items, func(it pipeline.Item) bool { return it.ID == id })
		}
	}
	return items
}

// hintsFor finds the panels that the hints are for. Without any, placing depends on nothing but the panels.
func hintsFor(x *pipeline.Expansion, items []pipeline.Item, set *Settings) placeSettings {
	var s placeSettings
	for _, h := range set.Hints {
		id, ok := x.Clip(h.Clip)
		for i, it := range items {
			if ok && it.ID == id {
				s.Hints = append(s.Hints, hintFor(i, h).along(set.Orientation))
				s.StatedArcsecPerPx = x.Night().ScaleArcsecPerPx()
			}
		}
	}
	slices.SortStableFunc(s.Hints, func(a, b hintSettings) int { return a.Panel - b.Panel })
	return s
}

func lookPart(it pipeline.Item) pipeline.Part {
	return pipeline.Part{
		Name:    "look",
		Item:    it,
		Version: 1,
		In:      []pipeline.Input{{Port: "image", Value: it.Values["image"]}},
		Out:     []string{"points", "even"},
		Memory:  4 * perPanel,
		Run:     runLook,
	}
}

func placePart(in []pipeline.Input, memory int64, s placeSettings) pipeline.Part {
	return pipeline.Part{
		Name:     "place",
		Version:  10,
		Settings: s,
		In:       in,
		Out:      []string{"geometry"},
		Memory:   memory,
		Run:      pipeline.Bind(runPlace),
	}
}

func levelsPart(in []pipeline.Input, memory int64, s levelsSettings) pipeline.Part {
	return pipeline.Part{
		Name:     "levels",
		Version:  10,
		Settings: s,
		In:       in,
		Out:      []string{"levels", "placements"},
		Memory:   memory,
		Run:      pipeline.Bind(runLevels),
	}
}

func joinPart(in []pipeline.Input, memory int64) pipeline.Part {
	return pipeline.Part{
		Name:    "join",
		Version: 9,
		In:      in,
		Out:     []string{"image", "weight", "source", "coverage", "noise"},
		Memory:  memory / 2,
		Run:     runJoin,
	}
}
