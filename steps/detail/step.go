// Package detail brings out fine detail: it takes the disk apart into bands of
// scale, once, and puts it together again with each band raised or lowered and
// its noise held back.
package detail

import (
	"cmp"
	"fmt"
	"slices"

	"plenilune/pipeline"
)

// Settings is a detail block of the manifest.
type Settings struct {
	Image pipeline.Ref `hcl:"image" refs:"mosaic stack detail"`
	Bands []Band       `hcl:"band,block"` // none: the default recipe
}

// Band raises or lowers the detail around one scale: the width of a bright or
// dark mark, half the period of a pattern. It is given in arcseconds, or in
// pixels of the picture.
type Band struct {
	Name        string  `hcl:"name,label"`
	ScaleArcsec float64 `hcl:"scale_arcsec,optional" min:"0" max:"600"`
	ScalePx     float64 `hcl:"scale_px,optional" min:"0" max:"200"`
	// Boost multiplies the band: 1 leaves it, 0 removes it.
	Boost float64 `hcl:"boost" min:"0" max:"50"`
	// FloorSigma is how strong detail must be, against the local noise, for half
	// of it to pass; weaker detail fades out smoothly. 0 passes everything.
	FloorSigma float64 `hcl:"floor_sigma,optional" min:"0" max:"50"`
}

// Step serves detail blocks.
func Step() pipeline.Step {
	return pipeline.Step{
		Name:   "detail",
		Block:  "detail",
		New:    func() any { return &Settings{} },
		Check:  check,
		Expand: expand,
	}
}

func check(settings any, _ pipeline.Night) []pipeline.Problem {
	var out []pipeline.Problem
	for _, b := range settings.(*Settings).Bands {
		path := "band." + b.Name
		switch {
		case b.ScaleArcsec > 0 && b.ScalePx > 0:
			out = append(out, pipeline.Problem{
				Path: path + ".scale_px",
				Text: fmt.Sprintf("band %q has a scale in arcseconds and one in pixels", b.Name),
				Hint: "keep scale_arcsec or scale_px, not both",
			})
		case b.ScaleArcsec == 0 && b.ScalePx == 0:
			out = append(out, pipeline.Problem{
				Path: path,
				Text: fmt.Sprintf("band %q does not say how wide its detail is", b.Name),
				Hint: "add scale_arcsec or scale_px, for instance scale_px = 3",
			})
		case b.ScalePx > 0 && b.ScalePx < levelScalePx[0]:
			out = append(out, pipeline.Problem{
				Path: path + ".scale_px",
				Text: fmt.Sprintf("band %q asks for detail %g px wide: nothing finer than 1 px is in a picture", b.Name, b.ScalePx),
				Hint: "give 1 px or more",
			})
		}
	}
	return out
}

func expand(x *pipeline.Expansion) error {
	set := x.Settings().(*Settings)
	items, err := x.Upstream(set.Image)
	if err != nil {
		return err
	}
	for _, it := range items {
		x.Emit(addParts(x, it, recombineSettings{Bands: canonical(set.Bands)}))
	}
	return nil
}

// canonical puts the bands in an order of their own, so that neither their names
// nor their order in the manifest make anything run again.
func canonical(in []Band) []bandSettings {
	var out []bandSettings
	for _, b := range in {
		out = append(out, bandSettings{ScaleArcsec: b.ScaleArcsec, ScalePx: b.ScalePx, Boost: b.Boost, FloorSigma: b.FloorSigma})
	}
	slices.SortFunc(out, func(a, b bandSettings) int {
		return cmp.Or(cmp.Compare(a.ScaleArcsec, b.ScaleArcsec), cmp.Compare(a.ScalePx, b.ScalePx),
			cmp.Compare(a.Boost, b.Boost), cmp.Compare(a.FloorSigma, b.FloorSigma))
	})
	return out
}

// memory is what a part asks for. A picture's size is not known when the parts
// are cut; this suits 16 million pixels.
const memory = 1 << 30

func addParts(x *pipeline.Expansion, it pipeline.Item, rs recombineSettings) pipeline.Item {
	in := []pipeline.Input{{Port: "image", Value: it.Values["image"]}}
	if w := it.Values["weight"]; !w.IsZero() {
		in = append(in, pipeline.Input{Port: "weight", Value: w})
	}
	apart := x.Add(pipeline.Part{
		Name: "decompose", Item: it, Version: 2, In: in, Out: decomposeOut(),
		Memory: memory, Run: decompose,
	})
	for _, port := range []string{"placements", "panel"} {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	for _, port := range decomposeOut() {
		in = append(in, pipeline.Input{Port: port, Value: apart.Out(port)})
	}
	joined := x.Add(pipeline.Part{
		Name: "recombine", Item: it, Version: 2, Settings: rs, In: in, Out: []string{"image"},
		Memory: memory / 4, Run: pipeline.Bind(recombine),
	})
	return it.With("image", joined.Out("image"))
}
