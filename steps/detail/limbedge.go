package detail

import (
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/wavelet"
)

// steepening returns by how much a straight edge blurred by a
// Gaussian of sigma pixels grows steeper in its middle under the recipe: the slope
// there is that of the line spread, whose levels the recipe multiplies. Floors
// play no part, an edge is far above the noise. Never below 1.
func (r *recipe) steepening(sigma float64) float64 {
	if sigma <= 0 {
		return 1
	}
	const half = 4 << levels
	spread := make([]float32, 2*half+1)
	for i := range spread {
		u := float64(i-half) / sigma
		spread[i] = float32(portable.Exp(-0.5 * float64(u*u)))
	}
	planes, rest := wavelet.Starlet(spread, len(spread), 1, levels)
	slope := rest[half] // of the whole: 1, since the levels and the rest add up
	for j, p := range planes {
		slope += float32(r.gain(j, 1, 0) * p[half])
	}
	return max(1, float64(slope))
}

// steeper returns the height p of a place on an edge, 0 at its foot and 1 at its
// top, after the edge has grown steeper k times in the middle: p^k/(p^k+(1−p)^k),
// exact for a logistic edge and near enough for a blurred one. It is monotone and
// leaves foot and top where they are, so no rim can appear beside the edge.
func steeper(p, k float64) float64 {
	if p <= 0 || p >= 1 {
		return p
	}
	return 1 / (1 + portable.Pow((1-p)/p, k))
}
