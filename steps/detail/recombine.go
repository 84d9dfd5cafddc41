package detail

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/wavelet"
)

// bandSettings is a band without its name, which changes no pixel.
type bandSettings struct {
	ScaleArcsec float64
	ScalePx     float64
	Boost       float64
	FloorSigma  float64
}

// recombineSettings are what varies the result; no bands is the recipe.
type recombineSettings struct{ Bands []bandSettings }

// Recipe returns the bands that are used when a block has none: modest, so that
// they suit most nights.
func Recipe() []Band {
	return []Band{
		{Name: "fine", ScalePx: 2, Boost: 1.5, FloorSigma: 3},
		{Name: "middle", ScalePx: 4, Boost: 1.9, FloorSigma: 2},
		{Name: "broad", ScalePx: 8, Boost: 1.4, FloorSigma: 1},
	}
}

// raise is what a band does to one level.
type raise struct {
	level int
	gain  float32 // times the detail that passes, added
	floor float32 // in units of the level's noise
}

// raises turns bands into what is done to each level.
func raises(bands []bandSettings, arcsecPerPx float64) []raise {
	var out []raise
	for _, b := range bands {
		px := b.ScalePx
		if b.ScaleArcsec > 0 {
			px = b.ScaleArcsec / arcsecPerPx
		}
		for j, s := range share(px) {
			if g := float64(s * (b.Boost - 1)); g != 0 {
				out = append(out, raise{j, float32(g), float32(b.FloorSigma)})
			}
		}
	}
	return out
}

// recombine adds to the picture, level by level, what the bands ask for of the
// detail that stands out of the noise. Detail w passes by the share
// w² / (w² + f²), f the floor: half of it at the floor, none of the faintest,
// without a step that would make speckle.
func recombine(ctx context.Context, s recombineSettings, t *pipeline.Task) error {
	bands, scale, err := bandsFor(t, s.Bands)
	if err != nil {
		return err
	}
	var about apart
	if err := t.One("apart").Table(&about); err != nil {
		return err
	}
	in, err := openLevels(t, raises(bands, scale))
	if err != nil {
		return err
	}
	defer in.close()
	if scale > 0 {
		t.Fact("scale", scale, "arcsec/px")
	}
	w, h, c := in.image.Size()
	return t.WritePlane(ctx, "image", w, h, c, func(r image.Rectangle, dst [][]float32) error {
		return in.tile(r, dst, about)
	})
}

// bandsFor returns the bands that can be used, and the scale of the picture in
// arcseconds a pixel, 0 where it is not known: then bands given in arcseconds are
// left out, and that is said.
func bandsFor(t *pipeline.Task, bands []bandSettings) ([]bandSettings, float64, error) {
	if len(bands) == 0 {
		bands = canonical(Recipe())
	}
	var place struct {
		Scale float64 `json:"scale_arcsec_per_px"`
	}
	if t.Has("placements") {
		if err := t.One("placements").Table(&place); err != nil {
			return nil, 0, err
		}
	}
	if place.Scale > 0 {
		return bands, place.Scale, nil
	}
	var out []bandSettings
	for _, b := range bands {
		if b.ScaleArcsec > 0 {
			t.Warn("scale-unknown", "the picture's scale is not known, so a band of %g arcsec is left out: give it as scale_px", b.ScaleArcsec)
			continue
		}
		out = append(out, b)
	}
	return out, 0, nil
}

// levelPlanes reads what decompose made, tile by tile.
type levelPlanes struct {
	image, trust, weight *pipeline.PlaneReader // weight may be nil
	levels               [levels]*pipeline.PlaneReader
	raises               []raise
}

func openLevels(t *pipeline.Task, rs []raise) (*levelPlanes, error) {
	p := &levelPlanes{raises: rs}
	open := func(port string, dst **pipeline.PlaneReader) error {
		r, err := t.One(port).Plane()
		if err != nil {
			return fmt.Errorf("open %s: %w", port, err)
		}
		*dst = r
		return nil
	}
	err := open("image", &p.image)
	if err == nil {
		err = open("trust", &p.trust)
	}
	if err == nil && t.Has("weight") {
		err = open("weight", &p.weight)
	}
	for _, r := range rs {
		if err == nil && p.levels[r.level] == nil {
			err = open(levelPort(r.level), &p.levels[r.level])
		}
	}
	if err != nil {
		p.close()
		return nil, err
	}
	return p, nil
}

func (p *levelPlanes) close() {
	for _, r := range append([]*pipeline.PlaneReader{p.image, p.trust, p.weight}, p.levels[:]...) {
		if r != nil {
			r.Close()
		}
	}
}

// tile computes one tile of the result.
func (p *levelPlanes) tile(r image.Rectangle, dst [][]float32, about apart) error {
	n := r.Dx() * r.Dy()
	add, noise, buf := make([]float32, n), make([]float32, n), make([]float32, n)
	if err := p.noiseOf(r, noise, about); err != nil {
		return err
	}
	for _, a := range p.raises {
		if err := p.levels[a.level].ReadRect(0, r, buf); err != nil {
			return err
		}
		k := a.floor * float32(wavelet.NoiseFactor(a.level))
		for i, v := range buf {
			f := k * noise[i]
			if w2 := float32(v * v); w2 > 0 {
				add[i] += float32(a.gain * v * (w2 / (w2 + float32(f*f))))
			}
		}
	}
	if err := p.trust.ReadRect(0, r, buf); err != nil {
		return err
	}
	for i := range add {
		add[i] *= buf[i]
	}
	for c, d := range dst {
		if err := p.image.ReadRect(c, r, d); err != nil {
			return err
		}
	}
	apply(dst, add, float32(about.Sky))
	return nil
}

// noiseOf is the noise of each pixel: the picture's, more where fewer frames were joined.
func (p *levelPlanes) noiseOf(r image.Rectangle, noise []float32, about apart) error {
	for i := range noise {
		noise[i] = float32(about.NoiseSigma)
	}
	if p.weight == nil || about.WeightMedian <= 0 {
		return nil
	}
	weight := make([]float32, len(noise))
	if err := p.weight.ReadRect(0, r, weight); err != nil {
		return err
	}
	for i, w := range weight {
		if w > 0 {
			noise[i] *= float32(math.Sqrt(min(about.WeightMedian/float64(w), 16)))
		}
	}
	return nil
}

// apply adds detail of the luminance. In colour each channel above the sky is
// multiplied alike, so that detail changes brightness and never hue.
func apply(dst [][]float32, add []float32, sky float32) {
	if len(dst) == 1 {
		for i, a := range add {
			dst[0][i] += a
		}
		return
	}
	for i, a := range add {
		var lum float32
		for _, d := range dst {
			lum += d[i]
		}
		lum = lum/float32(len(dst)) - sky
		if lum <= float32(0.5*sky)+1e-6 || a != a {
			continue
		}
		k := max(0, 1+a/lum)
		for _, d := range dst {
			d[i] = sky + float32((d[i]-sky)*k)
		}
	}
}
