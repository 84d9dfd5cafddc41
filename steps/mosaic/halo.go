package mosaic

import (
	"math"
	"slices"
)

// halo is the light about the Moon that air and optics scatter, which all panels' sky has in common: by how much it is brighter than at the
// limb, Σ h[k]·ρᵏ⁺¹ at ρ limb radii outside it. It is no fault
// of a panel, and stays in the picture: only it must not pass for what panels differ by.
type halo [haloTerms]float64

const haloTerms = 3

// terms are the derivatives of a halo at a place by its coefficients.
func (h halo) terms(out float64) [haloTerms]float64 {
	return [haloTerms]float64{out, float64(out * out), float64(float64(out*out) * out)}
}

func (h halo) at(out float64) (s float64) {
	for k, t := range h.terms(out) {
		s += float64(h[k] * t)
	}
	return s
}

// haloSpread is how strong each term of the halo is thought to be, one standard deviation, in units of white.
const haloSpread = 0.1

// mean is that of a halo over places of sky, against the limb: below zero where there is one.
func (h halo) mean(places [][]skyPlace) float64 {
	var n, sum float64
	for _, panel := range places {
		for _, p := range panel {
			n, sum = n+1, sum+h.at(p.Out)
		}
	}
	return sum / max(n, 1)
}

// spread is the rms of a halo over places of sky about its mean there.
func (h halo) spread(places [][]skyPlace) float64 {
	mean := h.mean(places)
	var n, square float64
	for _, panel := range places {
		for _, p := range panel {
			v := h.at(p.Out)
			n, square = n+1, square+float64(v*v)
		}
	}
	return math.Sqrt(max(0, square/max(n, 1)-float64(mean*mean)))
}

// evenSky returns places of bare sky, by panel, out of which the halo is taken. The levels bring panels to the common brightness, in
// which the halo is.
func (h halo) evenSky(places [][]skyPlace, lv []level) [][]skyPlace {
	if h == (halo{}) {
		return places
	}
	out := make([][]skyPlace, len(places))
	for i, panel := range places {
		out[i] = slices.Clone(panel)
		for k, p := range panel {
			out[i][k].Value -= h.at(p.Out) / lv[i].Factor
		}
	}
	return out
}
