// Package calibrate takes a camera's own marks out of its frames.
package calibrate

import "plenilune/steps/kernel/plane"

// FlatFloor is the least sensitivity that is divided out: where a flat is darker
// than this share of its mean there is nothing to win but noise.
const FlatFloor = 0.05

// Mosaicked tells whether a pattern's neighbouring pixels see different colours.
func Mosaicked(pattern string) bool {
	switch pattern {
	case "", "mono", "RGB", "BGR":
		return false
	}
	return true
}

// Frame calibrates a frame in place: (raw − dark) / flat, then each hot pixel
// from its neighbours of the same colour. Samples are in units of white, flat in
// units of its own mean; dark, flat and hot may each be nil. It panics if a master
// has another size than the frame.
func Frame(frame, dark, flat *plane.Image, hot []int, pattern string) {
	for c, p := range frame.Pix {
		if dark != nil {
			subtract(p, channel(frame, dark, c))
		}
		if flat != nil {
			divide(p, channel(frame, flat, c))
		}
	}
	dist := 1
	if Mosaicked(pattern) {
		dist = 2
	}
	for _, p := range frame.Pix {
		mend(p, frame.W, frame.H, hot, dist)
	}
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
		p[i] /= max(f, FlatFloor)
	}
}

// mend replaces hot pixels by the median of the eight neighbours dist px away
// that are not hot themselves; hot is in rising order of y·w+x.
func mend(p []float32, w, h int, hot []int, dist int) {
	if len(hot) == 0 {
		return
	}
	bad := make(map[int]bool, len(hot))
	for _, i := range hot {
		bad[i] = true
	}
	var near [8]float32
	fix := make([]float32, len(hot))
	for k, i := range hot {
		x, y := i%w, i/w
		n := 0
		for dy := -dist; dy <= dist; dy += dist {
			for dx := -dist; dx <= dist; dx += dist {
				xx, yy := x+dx, y+dy
				if xx >= 0 && yy >= 0 && xx < w && yy < h && !bad[yy*w+xx] {
					near[n] = p[yy*w+xx]
					n++
				}
			}
		}
		fix[k] = p[i]
		if n > 0 {
			fix[k] = median(near[:n])
		}
	}
	for k, i := range hot {
		p[i] = fix[k]
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
