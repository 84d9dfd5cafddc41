package stacks

import (
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/portable"
)

const (
	tapPhases = lanes.Phases // places between two pixels for which taps are kept: ≤ 0.002 px off
	tapBits   = 8            // log₂
	tapsWide  = 6
)

// lanczosTaps holds the six weights of sinc(x)·sinc(x/3), normalised to sum 1, for
// places k/tapPhases behind a pixel, on the pixels −2…3 about it.
var lanczosTaps = makeTaps()

func makeTaps() lanes.Taps {
	t := make(lanes.Taps, tapPhases)
	const pi = 3.14159265358979323846
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return portable.Sin(pi*x) / (pi * x)
	}
	for k := range t {
		var w [tapsWide]float64
		var sum float64
		for j := range w {
			x := float64(j-2) - float64(float64(k)/tapPhases)
			if x > -3 && x < 3 {
				w[j] = sinc(x) * sinc(x/3)
			}
			sum += w[j]
		}
		for j := range w {
			t[k][j] = float32(w[j] / sum)
		}
	}
	return t
}

// sampleEdge interpolates a row-major picture of width w at column ix + fx/tapPhases and row iy + fy/tapPhases, also
// near a border: pixels beyond it are those at it.
func sampleEdge(pix []float32, w, ix, iy, fx, fy int) float32 {
	kx, ky := &lanczosTaps[fx], &lanczosTaps[fy]
	h := len(pix) / w
	var sum float32
	for j := range tapsWide {
		y := max(0, min(h-1, iy-2+j))
		var row float32
		for m := range tapsWide {
			row += float32(kx[m] * pix[y*w+max(0, min(w-1, ix-2+m))])
		}
		sum += float32(ky[j] * row)
	}
	return sum
}
