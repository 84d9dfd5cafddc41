package detail

import "plenilune/steps/kernel/portable"

// levels is the number of starlet levels that every picture is taken apart into:
// enough for detail of 60 px, beyond which a change of tone does better.
const levels = 6

// levelScalePx is the width of the detail that each level answers to most, in
// pixels: half the period at the peak of the level's transfer along an axis,
//
//	|W_j(f)| = Π_{i<j-1} H(2^i f) · (1 − H(2^(j−1) f)),  H(f) = cos⁴ πf,
//
// with H the transfer of the B3 kernel [1 4 6 4 1]/16 (Starck & Murtagh 2006,
// Astronomical Image and Data Analysis). Beyond the first levels it tends to
// 1.899·2^(j−1). Level 1 rises up to the limit of the grid, half a period of 1 px.
var levelScalePx = [levels]float64{1, 3.558846, 7.482118, 15.136837, 30.360070, 60.760724}

// share returns how much of each level belongs to detail scalePx wide. A scale
// between those of two levels takes part of both, linear in its logarithm, so
// that a scale may be moved smoothly; beyond the ends it takes the last level.
func share(scalePx float64) (t [levels]float64) {
	if scalePx <= levelScalePx[0] {
		t[0] = 1
		return t
	}
	for j := 1; j < levels; j++ {
		if scalePx < levelScalePx[j] {
			up := portable.Log(scalePx/levelScalePx[j-1]) / portable.Log(levelScalePx[j]/levelScalePx[j-1])
			t[j-1], t[j] = 1-up, up
			return t
		}
	}
	t[levels-1] = 1
	return t
}
