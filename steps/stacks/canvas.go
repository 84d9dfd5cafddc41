package stacks

import "math"

// coverLeast is the share of kept frames that must show a place for it to be in
// the stack: fewer are noisy and jagged, and the next panel shows the place better.
const coverLeast = 0.25

// canvas is the stack's window: pixel (x, y) of the stack lies at (x+X, y+Y) of
// the reference frame.
type canvas struct{ X, Y, W, H int }

// frameCanvas returns the smallest window that holds every place that at least
// coverLeast of the frames show. A frame shows reference places from −shift on.
func frameCanvas(shifts [][2]float64, w, h int) canvas {
	x0, x1 := span(shifts, 0, w)
	y0, y1 := span(shifts, 1, h)
	return canvas{x0, y0, x1 - x0, y1 - y0}
}

// span returns the first place, and the one past the last, along one axis that
// enough frames show.
func span(shifts [][2]float64, axis, n int) (int, int) {
	lo, hi := math.MaxInt, math.MinInt
	for _, s := range shifts {
		lo = min(lo, int(math.Ceil(-s[axis])))
		hi = max(hi, int(math.Floor(float64(n-1)-s[axis])))
	}
	if lo > hi {
		return 0, n
	}
	enough := func(at int) bool {
		k := 0
		for _, s := range shifts {
			if p := float64(at) + s[axis]; p >= 0 && p <= float64(n-1) {
				k++
			}
		}
		return float64(k) >= coverLeast*float64(len(shifts))
	}
	for lo < hi && !enough(lo) {
		lo++
	}
	for hi > lo && !enough(hi) {
		hi--
	}
	return lo, hi + 1
}
