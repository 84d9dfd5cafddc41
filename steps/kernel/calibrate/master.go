package calibrate

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

// HotPixels lists, as y·w+x in rising order, the pixels of a mean dark that lie
// more than k robust deviations, and more than least (in units of white), from
// the median of their neighbours of the same colour: hot ones and dead ones
// alike. The deviation is that of all pixels from their neighbours.
func HotPixels(dark *plane.Image, pattern string, k, least float64) []int {
	w, h, dist := dark.W, dark.H, spacing(pattern)
	hot := make([]bool, w*h)
	rest := make([]float32, w*h)
	var near [8]float32
	for _, p := range dark.Pix {
		for i, v := range p {
			n := 0
			around(i, w, h, dist, func(j int) {
				near[n] = p[j]
				n++
			})
			rest[i] = 0
			if n > 0 {
				rest[i] = v - median(near[:n])
			}
		}
		limit := max(least, float64(k*robust.Sigma(rest)))
		for i, d := range rest {
			hot[i] = hot[i] || math.Abs(float64(d)) > limit
		}
	}
	list := []int{}
	for i, is := range hot {
		if is {
			list = append(list, i)
		}
	}
	return list
}

// Flat turns a mean flat field into a flat in place: less its dark, which may be
// nil, and over its own mean, each colour by itself, so that 1 is the mean.
// What cannot be told (a site without light) becomes 1.
func Flat(flat, dark *plane.Image, pattern string) {
	step := spacing(pattern)
	for c, p := range flat.Pix {
		if dark != nil {
			subtract(p, channel(flat, dark, c))
		}
		for site := range step * step {
			over(p, flat.W, flat.H, site%step, site/step, step)
		}
	}
}

// over divides the pixels of one site of a mosaic by their mean.
func over(p []float32, w, h, x0, y0, step int) {
	sum, n := 0.0, 0
	for y := y0; y < h; y += step {
		for x := x0; x < w; x += step {
			if v := p[y*w+x]; v == v {
				sum += float64(v)
				n++
			}
		}
	}
	mean := float32(sum / float64(max(n, 1)))
	for y := y0; y < h; y += step {
		for x := x0; x < w; x += step {
			if i := y*w + x; mean > 0 && p[i] == p[i] {
				p[i] /= mean
			} else {
				p[i] = 1
			}
		}
	}
}
