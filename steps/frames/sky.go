package frames

import "plenilune/steps/kernel/robust"

// skyFit is the correlation with the clip's mean above which frames show something
// in common. Frames of noise alone keep below a tenth over the template's blocks.
const skyFit = 0.12

// isSky tells whether a clip shows nothing above the noise.
func isSky(got []tracked) bool {
	var fits []float64
	for _, g := range got {
		fits = append(fits, g.fit)
	}
	return robust.Median(fits) < skyFit
}
