// Package calibrate takes a camera's own marks out of its frames.
//
// Frames are in units of the white level, one plane (monochrome, or a mosaic of
// colour filters) or three; a frame's pattern is named as in package raw: mono,
// RGGB, GRBG, …, RGB, BGR.
package calibrate

import (
	"slices"

	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
)

// FlatFloor is the least sensitivity that is divided out: where a flat is darker
// than this share of its mean there is nothing to win but noise.
const FlatFloor = 0.05

// SaturationLevel is the share of the white level from which a raw sample counts
// as saturated: beyond, sensors bend (common practice, no source).
const SaturationLevel = 0.99

// Mosaicked tells whether a pattern's neighbouring pixels see different colours.
func Mosaicked(pattern string) bool {
	switch pattern {
	case "", "mono", "RGB", "BGR":
		return false
	}
	return true
}

// spacing is how far apart, in pixels, neighbours of the same colour lie.
func spacing(pattern string) int {
	if Mosaicked(pattern) {
		return 2
	}
	return 1
}

// Frame calibrates a frame in place: (raw − dark) / flat, then each hot pixel
// from its neighbours of the same colour. flat is in units of its own mean; hot
// lists pixels y·w+x in rising order; dark, flat and hot may each be nil. It
// panics if a master has another size than the frame.
func Frame(frame, dark, flat *plane.Image, hot []int, pattern string) {
	for c, p := range frame.Pix {
		switch {
		case dark != nil && flat != nil:
			lanes.Even(p, channel(frame, dark, c), channel(frame, flat, c), FlatFloor)
		case dark != nil:
			subtract(p, channel(frame, dark, c))
		case flat != nil:
			divide(p, channel(frame, flat, c))
		}
		mend(p, frame.W, frame.H, hot, spacing(pattern))
	}
}

// Saturated marks in mask, one value a pixel, where any plane of a raw frame,
// before it is calibrated, reaches level (SaturationLevel), and returns how many
// do.
func Saturated(mask []bool, raw *plane.Image, level float32) int {
	mask = mask[:raw.W*raw.H]
	clear(mask)
	n := 0
	for _, p := range raw.Pix {
		for i, v := range p {
			if v >= level && !mask[i] {
				mask[i] = true
				n++
			}
		}
	}
	return n
}

func channel(frame, master *plane.Image, c int) []float32 {
	if master.W != frame.W || master.H != frame.H {
		panic("calibrate: a master of another size than the frame")
	}
	return master.Pix[min(c, len(master.Pix)-1)]
}

func subtract(p, dark []float32) {
	dark = dark[:len(p)]
	for i, d := range dark {
		p[i] -= d
	}
}

func divide(p, flat []float32) {
	flat = flat[:len(p)]
	for i, f := range flat {
		if f < FlatFloor {
			f = FlatFloor
		}
		p[i] /= f
	}
}

// mend replaces hot pixels by the median of the eight neighbours dist px away
// that are not hot themselves. It reads none of what it writes.
func mend(p []float32, w, h int, hot []int, dist int) {
	var near [8]float32
	for _, i := range hot {
		n := 0
		around(i, w, h, dist, func(j int) {
			if _, bad := slices.BinarySearch(hot, j); !bad {
				near[n] = p[j]
				n++
			}
		})
		if n > 0 {
			p[i] = median(near[:n])
		}
	}
}

// around calls do with the index of each of the up to eight neighbours of pixel
// i, dist px away.
func around(i, w, h, dist int, do func(j int)) {
	x, y := i%w, i/w
	for dy := -dist; dy <= dist; dy += dist {
		for dx := -dist; dx <= dist; dx += dist {
			xx, yy := x+dx, y+dy
			if (dx != 0 || dy != 0) && xx >= 0 && yy >= 0 && xx < w && yy < h {
				do(yy*w + xx)
			}
		}
	}
}

// median sorts v, at most eight values, and returns its middle.
func median(v []float32) float32 {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}
