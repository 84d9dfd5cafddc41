package mosaic

import (
	"math"

	"plenilune/steps/kernel/robust"
)

// evenSigma is the reach, in pixels, over which contrast is evened: wide enough
// to hold a crater of some resolution elements, narrow against an overlap.
const evenSigma = 8

// evened brings contrast to about the same strength everywhere: the local mean
// is taken off and the rest divided by its local standard deviation, so that
// ground near the terminator or the limb gives points like a bright highland.
// Under the floor (in units of the picture) contrast is not raised: sky stays
// flat. Holes are zero in the result and zero in the mask.
func evened(v []float32, w, h int, floor float32) (out, mask []float32) {
	mask, filled := maskOf(v)
	mean := smoothOver(filled, mask, w, h, evenSigma)
	square := make([]float32, len(v))
	out = make([]float32, len(v))
	for i := range out {
		d := (filled[i] - mean[i]) * mask[i]
		out[i], square[i] = d, d*d
	}
	vary := smoothOver(square, mask, w, h, evenSigma)
	f2 := float32(floor * floor)
	for i := range out {
		out[i] /= float32(math.Sqrt(float64(vary[i] + f2)))
	}
	return out, mask
}

// tonalRange describes the brightness of a panel in its own units.
type tonalRange struct {
	Sky    float64 `json:"sky"`    // a dark level: the 2nd percentile of the smoothed panel
	Bright float64 `json:"bright"` // the 99.5th
	Noise  float64 `json:"noise"`  // standard deviation of fine noise
}

// rangeOf measures a panel. The noise is the median absolute response to the
// mask 1 −2 1 ⊗ 1 −2 1, which cancels structure (Immerkær 1996, with a median in
// place of the mean so that edges do not count).
func rangeOf(v []float32, w, h int) tonalRange {
	mask, filled := maskOf(v)
	s := smoothOver(filled, mask, w, h, 2)
	tones, noise := make([]float32, 0, w*h/4), make([]float32, 0, w*h/4)
	for y := 1; y+1 < h; y += 2 {
		for x := 1; x+1 < w; x += 2 {
			i := y*w + x
			if mask[i] == 0 {
				continue
			}
			tones = append(tones, s[i])
			l := (v[i-w-1] - float32(2*v[i-w]) + v[i-w+1]) - float32(2*(v[i-1]-float32(2*v[i])+v[i+1])) + (v[i+w-1] - float32(2*v[i+w]) + v[i+w+1])
			if l == l {
				noise = append(noise, max(l, -l))
			}
		}
	}
	if len(tones) == 0 {
		return tonalRange{}
	}
	r := tonalRange{
		Sky:    float64(robust.Select(tones, len(tones)/50)),
		Bright: float64(robust.Select(tones, len(tones)-1-len(tones)/200)),
	}
	if len(noise) > 0 {
		r.Noise = 1.4826 * float64(robust.Select(noise, len(noise)/2)) / 6 // the mask's gain on white noise is 6
	}
	return r
}

// empty tells whether nothing stands out of the noise: bare sky or unlit ground.
func (r tonalRange) empty() bool {
	return r.Bright-r.Sky < max(6*r.Noise, 0.004)
}
