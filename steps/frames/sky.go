package frames

import (
	"math"
	"slices"

	"plenilune/steps/kernel/robust"
)

const (
	// skyFit is the correlation with the clip's mean above which frames of a large
	// field show something in common.
	skyFit = 0.12
	// skyChance is the same in units of 1/√n for an overlap of n pixels of the coarse
	// scale, which counts in small fields: noise correlates by chance, and better at
	// the best of many places. In 300 clips of noise alone, of 32×24 to 520×500 px and
	// 12 to 150 frames, the usual fit of frames that are not in the template came to 2
	// to 9.4 units, whatever the size (10.6 at 256×256 px, where skyFit is higher).
	skyChance = 10
	// skyOthers is how many frames, at least, that are not in the template tell by
	// chance: those in it correlate with their own noise.
	skyOthers = 4
)

// isSky tells whether a clip shows nothing above the noise. The template is of the
// given frames and has count pixels.
func isSky(got []tracked, template []int, count float64) bool {
	var fits, units []float64
	for i, g := range got {
		fits = append(fits, g.fit)
		if !slices.Contains(template, i) {
			units = append(units, float64(g.fit*math.Sqrt(g.share*count)))
		}
	}
	return robust.Median(fits) < skyFit || len(units) >= skyOthers && robust.Median(units) < skyChance
}
