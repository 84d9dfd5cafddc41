// Package detail brings out fine detail: it takes the blur out of the disk, as it is
// seen at the limb, takes the disk apart into bands of scale, once, and puts it
// together again with each band raised or lowered and its noise held back.
package detail

import (
	"cmp"
	"fmt"
	"slices"

	"plenilune/pipeline"
)

// Settings is a detail block of the manifest. Without deconvolve and without any
// band it is the default recipe; with either, what stands there and no more.
type Settings struct {
	Image      pipeline.Ref `hcl:"image" refs:"mosaic stack panels detail"`
	Deconvolve *Deconvolve  `hcl:"deconvolve,block"`
	Bands      []Band       `hcl:"band,block"`
}

// Deconvolve takes the blur out by the iteration of Richardson and Lucy. What is
// not given is measured.
type Deconvolve struct {
	// Iterations is how many steps are taken; 0 takes them until they are lost in
	// the noise.
	Iterations int `hcl:"iterations,optional" min:"0" max:"200"`
	// The full width at half maximum of the blur that is taken out, a Gaussian then.
	// Not given, the blur is measured at the lit limb, and only what the air has
	// added to the telescope's own is taken out.
	BlurFWHMPx     float64 `hcl:"blur_fwhm_px,optional" min:"0.2" max:"20"`
	BlurFWHMArcsec float64 `hcl:"blur_fwhm_arcsec,optional" min:"0.02" max:"60"`
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
	set := settings.(*Settings)
	if d := set.Deconvolve; d != nil && d.BlurFWHMPx > 0 && d.BlurFWHMArcsec > 0 {
		out = append(out, pipeline.Problem{
			Path: "deconvolve.blur_fwhm_px",
			Text: "the blur is given in pixels and in arcseconds",
			Hint: "keep blur_fwhm_arcsec or blur_fwhm_px, not both",
		})
	}
	for _, b := range set.Bands {
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
	unblur, bands := set.Deconvolve, canonical(set.Bands)
	if unblur == nil && len(bands) == 0 {
		unblur, bands = &Deconvolve{}, canonical(Recipe())
	}
	for _, it := range items {
		if unblur != nil {
			it = addDeconvolution(x, it, *unblur)
		}
		if len(bands) > 0 {
			it = addBands(x, it, recombineSettings{Bands: bands, Sharpened: unblur != nil || set.Image.Kind == "detail"})
		}
		x.Emit(it)
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
// are cut; this suits 60 million pixels.
const memory = 1 << 30

// inputs names what a part reads of an item beside its own.
func inputs(it pipeline.Item, ports ...string) (in []pipeline.Input) {
	for _, port := range ports {
		if v := it.Values[port]; !v.IsZero() {
			in = append(in, pipeline.Input{Port: port, Value: v})
		}
	}
	return in
}

// addDeconvolution takes the blur out of an item's image. What measuring it costs
// is not spent again when only the number of steps changes.
func addDeconvolution(x *pipeline.Expansion, it pipeline.Item, d Deconvolve) pipeline.Item {
	in := inputs(it, "image", "weight", "placements", "panel")
	if d.BlurFWHMPx == 0 && d.BlurFWHMArcsec == 0 {
		var o opticsSettings
		if tel := x.Night().Telescope; tel != nil {
			o = opticsSettings{tel.ApertureMM, tel.Obstruction}
		}
		measured := x.Add(pipeline.Part{
			Name: "blur", Item: it, Version: 9, Settings: o, In: inputs(it, "image", "placements", "panel", "light", "spectra", "spectrum"), Out: []string{"blur"},
			Memory: memory / 2, Run: pipeline.Bind(blur),
		})
		in = append(in, pipeline.Input{Port: "blur", Value: measured.Out("blur")})
	}
	sharp := x.Add(pipeline.Part{
		Name: "deconvolve", Item: it, Version: 10,
		Settings: deconvolveSettings{Iterations: d.Iterations, FWHMPx: d.BlurFWHMPx, FWHMArcsec: d.BlurFWHMArcsec},
		In:       in, Out: []string{"image", "beyond"}, Memory: memory, Run: pipeline.Bind(sharpen),
	})
	return it.With("image", sharp.Out("image")).With("beyond", sharp.Out("beyond"))
}

func addBands(x *pipeline.Expansion, it pipeline.Item, rs recombineSettings) pipeline.Item {
	apart := x.Add(pipeline.Part{
		Name: "decompose", Item: it, Version: 2, In: inputs(it, "image", "weight"), Out: decomposeOut(),
		Memory: memory, Run: decompose,
	})
	in := inputs(it, "image", "weight", "placements", "panel")
	for _, port := range decomposeOut() {
		in = append(in, pipeline.Input{Port: port, Value: apart.Out(port)})
	}
	joined := x.Add(pipeline.Part{
		Name: "recombine", Item: it, Version: 2, Settings: rs, In: in, Out: []string{"image"},
		Memory: memory / 4, Run: pipeline.Bind(recombine),
	})
	return it.With("image", joined.Out("image"))
}
