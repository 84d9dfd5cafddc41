package frames

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

const (
	hotSigma = 8     // over the scatter of a dark's pixels about their neighbours (common practice, no source)
	hotLeast = 0.002 // of white: less does no harm
)

// hotPixels lists the pixels of a master dark that stand out from their
// neighbours of the same colour, dist px apart, as indices y·w+x in rising order.
func hotPixels(dark *plane.Image, dist int) []int {
	w, h := dark.W, dark.H
	found := make([]bool, w*h)
	for _, pix := range dark.Pix {
		rest := make([]float32, w*h)
		var near [8]float32
		for y := range h {
			for x := range w {
				n := 0
				for dy := -dist; dy <= dist; dy += dist {
					for dx := -dist; dx <= dist; dx += dist {
						if xx, yy := x+dx, y+dy; (dx != 0 || dy != 0) && xx >= 0 && yy >= 0 && xx < w && yy < h {
							near[n] = pix[yy*w+xx]
							n++
						}
					}
				}
				if n > 0 {
					rest[y*w+x] = pix[y*w+x] - medianOf(near[:n])
				}
			}
		}
		limit := max(hotLeast, hotSigma*robust.Sigma(rest))
		for i, v := range rest {
			if math.Abs(float64(v)) > limit {
				found[i] = true
			}
		}
	}
	out := []int{}
	for i, f := range found {
		if f {
			out = append(out, i)
		}
	}
	return out
}

// medianOf sorts a few values in place.
func medianOf(v []float32) float32 {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	return float32(0.5 * (v[(len(v)-1)/2] + v[len(v)/2]))
}
