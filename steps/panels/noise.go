package panels

import (
	"math"

	"plenilune/steps/kernel/robust"
)

// leastNoise is the noise of a picture of floating-point numbers that shows none: a step of 16 bits, evenly spread.
const leastNoise = 1.0 / 65535 / sqrt12

// sqrt12 is by how much the standard deviation of what rounding takes away is less than a step.
const sqrt12 = 3.4641016151377544

// gaussMedian is the median of what strays from a normal distribution's middle, in standard deviations.
const gaussMedian = 0.6744897501960817

// sigmaOf is the standard deviation of a channel's fine noise, never less than rounding to steps of lsb leaves. It is taken
// with the mask of Immerkær (1996, CVIU 64:300), which leaves planes and edges out, by the median of what it gives: crater
// walls and the limb count as few, not by their height.
func sigmaOf(p []float32, w, h int, lsb float64) float64 {
	fine := func(yield func(float32) bool) {
		for y := 1; y < h-1; y++ {
			a, b, c := p[(y-1)*w:y*w], p[y*w:(y+1)*w], p[(y+1)*w:(y+2)*w]
			for x := 1; x < w-1; x++ {
				if !yield(float32(math.Abs(robust.FineAt(a, b, c, x)))) {
					return
				}
			}
		}
	}
	least := max(leastNoise, lsb/sqrt12)
	median := robust.Counted(fine, 0.5)[0]
	if median != median { // of nothing
		return least
	}
	return max(least, median/(6*gaussMedian))
}
