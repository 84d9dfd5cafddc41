package frames

import (
	"plenilune/steps/kernel/plane"
)

// flatLeast is the least a flat may say: below, dust or a dead pixel would turn
// noise into a bright spot.
const flatLeast = 0.05

// normaliseFlat takes the dark off a flat, if there is one, and divides by the
// mean, on a colour mosaic by the mean of each of its four sites: 1 is the mean.
func normaliseFlat(flat, dark *plane.Image, mosaicked bool) {
	step := 1
	if mosaicked {
		step = 2
	}
	for c, pix := range flat.Pix {
		if dark != nil {
			for i, d := range dark.Pix[c] {
				pix[i] -= d
			}
		}
		for sy := range step {
			for sx := range step {
				site(pix, flat.W, flat.H, sx, sy, step)
			}
		}
	}
}

func site(pix []float32, w, h, sx, sy, step int) {
	var sum, n float64
	for y := sy; y < h; y += step {
		for x := sx; x < w; x += step {
			sum += float64(pix[y*w+x])
			n++
		}
	}
	if n == 0 || sum <= 0 {
		return
	}
	mean := float32(sum / n)
	for y := sy; y < h; y += step {
		for x := sx; x < w; x += step {
			pix[y*w+x] = max(pix[y*w+x]/mean, flatLeast)
		}
	}
}
