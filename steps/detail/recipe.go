package detail

import "plenilune/steps/kernel/wavelet"

// bandSettings is a band without its name. One of the scales is 0.
type bandSettings struct {
	ScaleArcsec float64 `json:"scale_arcsec"`
	ScalePx     float64 `json:"scale_px"`
	Boost       float64 `json:"boost"`
	FloorSigma  float64 `json:"floor_sigma"`
}

// Recipe returns the bands that are used, after the blur is taken out, when a
// block has neither deconvolve nor a band: with the blur gone, as it was measured,
// they have nothing to raise, and only hold back the finest noise; to raise them is
// a matter of taste. Their scales are in pixels, since most telescopes are used at
// about the sampling that their optics ask for.
func Recipe() []Band {
	return []Band{
		{Name: "fine", ScalePx: 1.5, Boost: 1, FloorSigma: 0.5},
		{Name: "middle", ScalePx: 4, Boost: 1, FloorSigma: 0.5},
	}
}

// part is a band's hold on one level.
type part struct{ share, boost, floor float32 }

// recipe is what happens to each level.
type recipe [levels][]part

// newRecipe spreads bands over the levels. Bands in arcseconds need the scale of
// the picture; where it is 0 they are left out and counted.
func newRecipe(bands []bandSettings, arcsecPerPx float64) (r recipe, leftOut int) {
	for _, b := range bands {
		px := b.ScalePx
		if px == 0 {
			if arcsecPerPx == 0 {
				leftOut++
				continue
			}
			px = b.ScaleArcsec / arcsecPerPx
		}
		for j, k := range share(px) {
			if k > 0 && (b.Boost != 1 || b.FloorSigma > 0) {
				r[j] = append(r[j], part{float32(k), float32(b.Boost), float32(b.FloorSigma)})
			}
		}
	}
	return r, leftOut
}

// floored tells whether any band holds back noise at level j.
func (r *recipe) floored(j int) bool {
	for _, p := range r[j] {
		if p.floor > 0 {
			return true
		}
	}
	return false
}

// gain returns by how much level j is multiplied where the detail's mean square
// is energy and the noise's at this level is noise2. Bands multiply.
func (r *recipe) gain(j int, energy, noise2 float32) float32 {
	g := float32(1)
	for _, p := range r[j] {
		pass := passes(energy, float32(float32(p.floor*p.floor)*noise2))
		g *= 1 + float32(p.share*(float32(p.boost*pass)-1))
	}
	return g
}

// passes returns how much of the detail passes a floor, both as mean squares:
// half at the floor, smoothly less below and more above, all where there is no
// floor. It weighs the energy of a neighbourhood, not single pixels (as in Lee
// 1980, "Digital image enhancement and noise filtering by use of local
// statistics"), so that noise fades evenly instead of leaving speckles.
func passes(energy, floor float32) float32 {
	if floor == 0 {
		return 1
	}
	q := energy / floor
	if q > 1e6 {
		return 1
	}
	q = float32(q * q)
	return q / (1 + q)
}

// localEnergy returns the mean square of level j around each pixel.
func localEnergy(level []float32, w, h, j int) []float32 {
	square, out, tmp := make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
	for i, v := range level {
		square[i] = v * v
	}
	wavelet.Smooth(out, square, tmp, w, h, 1<<j)
	return out
}

// reach is how far localEnergy looks, in pixels.
func reach(j int) int { return 2 << j }
