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
	Panels []pipeline.Ref `hcl:"panels" refs:"stack panels"`
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
	// Views say how the Moon stood at each clip, where the night says no site.
	Views *Views `hcl:"views,block"`
}

// Step serves mosaic blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:  "mosaic",
		Block: "mosaic",
		New:   func() any { return &Settings{Extent: "auto", Sphere: true} },
		Check: func(set any, n pipeline.Night) []pipeline.Problem {
			return append(checkHints(set, n), checkViews(set.(*Settings))...)
		},
		Expand: expand,
	}
}

// perPanel is a guess at the bytes a panel takes in memory while all are looked at together.
const perPanel = 24 << 20

// panelsToJoin are the stacks that are there and not left out, in the order of their clips' content.
func panelsToJoin(x *pipeline.Expansion, set *Settings) ([]pipeline.Item, error) {
	items, err := x.Upstream(set.Panels...)
	if err != nil {
		return nil, err
	}
	if len(items) == 0 {
		return nil, errors.New("there is no panel to join: no clip could be used")
	}
	if items = without(x, items, set.Except); len(items) == 0 {
		return nil, errors.New("there is no panel to join: except leaves out every clip; take one off its list")
	}
	if items, err = x.Alive(items); err != nil {
		return nil, err
	}
	if len(items) == 0 {
		return nil, errors.New("there is no panel to join: no clip gave a stack")
	}
	slices.SortStableFunc(items, func(a, b pipeline.Item) int { return strings.Compare(a.ID.String(), b.ID.String()) })
	return items, nil
}

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := panelsToJoin(x, set)
	if err != nil {
		return err
	}
	ids := make([]string, len(items))
	for i, it := range items {
		ids[i] = it.ID.String()
	}
	memory := int64(len(items)+4) * perPanel
	in, err := matched(x, items, memory)
	if err != nil {
		return err
	}
	memory += 8 * 4 * in.pixelsMost
	how := hintsFor(x, items, set)
	how.StatedArcsecPerPx *= in.sensor
	if how.Epoch, how.Views, how.NoViews, err = viewsFor(x, items, set); err != nil {
		return err
	}
	if how.Views != nil {
		how.Mount, how.North = x.Night().Mount, statedNorth(set.Orientation)
	}
	place := x.Add(placePart(slices.Concat(in.links, in.look, in.pixels, in.fulls, in.tables), memory, how))
	geometry := []pipeline.Input{{Port: "geometry", Value: place.Out("geometry")}}
	levels := x.Add(levelsPart(slices.Concat(geometry, in.pixels, in.fulls, in.tables), memory,
		levelsSettings{ids, set.Extent, x.Night().ScaleArcsecPerPx() * in.sensor}))
	geometry = append(geometry, pipeline.Input{Port: "levels", Value: levels.Out("levels")})
	sharp := x.Add(sharpPart(slices.Concat(geometry, in.pixels, in.fulls, in.tables), memory))
	geometry = append(geometry, pipeline.Input{Port: "sharpness", Value: sharp.Out("sharpness")})
	join := x.Add(joinPart(slices.Concat(geometry, in.pixels, in.weights, in.fulls, in.noises, in.tables), memory))
	out := pipeline.Item{Values: map[string]pipeline.Value{
		"image":      join.Out("image"),
		"weight":     join.Out("weight"),
		"source":     join.Out("source"),
		"coverage":   join.Out("coverage"),
		"noise":      join.Out("noise"),
		"placements": levels.Out("placements"),
		"geometry":   place.Out("geometry"),
	}}
	out = out.With("outlines", x.Add(outlinesPart(pipeline.Input{Port: "geometry", Value: place.Out("geometry")})).Out("outlines"))
	if len(in.finest) == len(items) {
		fine := x.Add(finestPart(slices.Concat(geometry, in.pixels, in.weights, in.fulls, in.noises, in.tables, in.finest), memory))
		out = out.With("finest", fine.Out("finest"))
	}
	handOn(out, items)
	face := x.Add(orientPart(slices.Concat(inputsOf(out, "image", "placements", "geometry"), in.tables), set.Orientation))
	out = out.With("orientation", face.Out("orientation"))
	if p, ok := lightPart(items); ok {
		out = out.With("light", x.Add(p).Out("light"))
	}
	if len(in.spectra) > 0 {
		out = out.With("spectra", x.Add(spectraPart(in.spectra)).Out("spectra"))
	}
	x.Emit(out)
	return nil
}

// inputsOf are values of an item as inputs, by their ports.
func inputsOf(it pipeline.Item, ports ...string) (in []pipeline.Input) {
	for _, p := range ports {
		in = append(in, pipeline.Input{Port: p, Value: it.Values[p]})
	}
	return in
}

// handOn adds what is known of each panel's clip, as port:ID, for the report of the night.
func handOn(out pipeline.Item, items []pipeline.Item) {
	for _, it := range items {
		for _, port := range []string{"panel", "frames", "index", "finest"} {
			if v := it.Values[port]; !v.IsZero() {
				out.Values[port+":"+it.ID.String()] = v
			}
		}
	}
}

// inputs are what parts are given of all panels, in order.
type inputs struct {
	look, links, pixels, weights, fulls, noises, tables []pipeline.Input
	spectra                                             []pipeline.Input // of those at their own scale
	finest                                              []pipeline.Input // at the scale that each was stacked at
	sensor                                              float64          // pixels of the sensor to one of theirs, along a side
	pixelsMost                                          int64            // of the largest of those drawn to another scale; 0: none was
}

// matched looks at all panels and matches them; those that turn out to have another scale than most are drawn to it first.
func matched(x *pipeline.Expansion, items []pipeline.Item, memory int64) (inputs, error) {
	in, links := match(x, items, "", memory)
	var found sizesTable
	if err := x.Table(links, &found); err != nil {
		return in, err
	}
	if otherSizes(found.Sizes) == 0 || len(found.Sizes) != len(items) {
		return in, nil
	}
	items = slices.Clone(items)
	most := int64(0)
	for i, size := range found.Sizes {
		if size == 1 {
			continue
		}
		var t struct{ Width, Height, Channels int }
		if err := x.Table(items[i].Values["panel"], &t); err != nil {
			return in, err
		}
		made := int64(resizedSide(t.Width, size)) * int64(resizedSide(t.Height, size))
		most = max(most, made)
		n := x.Add(resizePart(items[i], size, 4*int64(max(1, t.Channels))*(3*int64(t.Width)*int64(t.Height)+3*made)+perPanel))
		for _, port := range append(planePorts, "panel") {
			items[i] = items[i].With(port, n.Out(port))
		}
		items[i] = items[i].With("spectrum", pipeline.Value{})
	}
	in, _ = match(x, items, "-again", memory+2*4*most)
	in.sensor, in.pixelsMost = sensorPixels(found.Sizes), most
	return in, nil
}

// sensorPixels is how many pixels of the sensor one of most panels is wide: the finest panels show each by itself, if the others were binned.
func sensorPixels(sizes []float64) float64 {
	finest := 1.0
	for _, s := range sizes {
		if s < finest && binned(s) {
			finest = s
		}
	}
	return 1 / finest
}

// match looks at panels and matches them, by parts with a suffix to their names.
func match(x *pipeline.Expansion, items []pipeline.Item, suffix string, memory int64) (in inputs, links pipeline.Value) {
	for _, it := range items {
		n := x.Add(lookPart(it, suffix))
		in.look = append(in.look, pipeline.Input{Port: "points", Value: n.Out("points")}, pipeline.Input{Port: "even", Value: n.Out("even")})
		for _, p := range []struct {
			port string
			to   *[]pipeline.Input
		}{{"image", &in.pixels}, {"weight", &in.weights}, {"full", &in.fulls}, {"noise", &in.noises}, {"panel", &in.tables}} {
			*p.to = append(*p.to, pipeline.Input{Port: p.port, Value: it.Values[p.port]})
		}
	}
	in.sensor, in.spectra, in.finest = 1, ofPort(items, "spectrum"), ofPort(items, "finest")
	links = x.Add(linksPart(slices.Concat(in.look, in.tables), suffix, memory)).Out("links")
	in.links = []pipeline.Input{{Port: "links", Value: links}}
	return in, links
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

func lookPart(it pipeline.Item, suffix string) pipeline.Part {
	return pipeline.Part{
		Name:    "look" + suffix,
		Item:    it,
		Version: 2,
		In:      []pipeline.Input{{Port: "image", Value: it.Values["image"]}},
		Out:     []string{"points", "even"},
		Memory:  4 * perPanel,
		Run:     runLook,
	}
}

func placePart(in []pipeline.Input, memory int64, s placeSettings) pipeline.Part {
	return pipeline.Part{
		Name:     "place",
		Version:  17,
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
		Version:  18,
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
		Version: 14,
		In:      in,
		Out:     []string{"image", "weight", "source", "coverage", "noise"},
		Memory:  memory / 2,
		Run:     runJoin,
	}
}
