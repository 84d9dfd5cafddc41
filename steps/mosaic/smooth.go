package mosaic

import (
	"slices"

	"plenilune/steps/kernel/filter"
)

// smooth returns a picture blurred by a Gaussian of sigma pixels.
func smooth(src []float32, w, h int, sigma float64) []float32 {
	dst := make([]float32, w*h)
	filter.Gaussian(dst, src, w, h, sigma)
	return dst
}

// maskOf returns 1 where a value is a number and 0 where it is NaN, and a copy
// of the values with zeros there.
func maskOf(v []float32) (mask, filled []float32) {
	mask, filled = make([]float32, len(v)), make([]float32, len(v))
	for i, x := range v {
		if x == x {
			mask[i], filled[i] = 1, x
		}
	}
	return mask, filled
}

// smoothOver is smooth for a picture with holes (normalised convolution,
// Knutsson & Westin 1993): values under a zero mask do not count. Places that no
// value reaches are zero.
func smoothOver(filled, mask []float32, w, h int, sigma float64) []float32 {
	v := smooth(filled, w, h, sigma)
	if !slices.Contains(mask, 0) {
		all := smooth([]float32{1}, 1, 1, sigma)[0] // what a mask without holes becomes everywhere
		for i := range v {
			v[i] /= all
		}
		return v
	}
	m := smooth(mask, w, h, sigma)
	for i := range v {
		if m[i] > 1e-4 {
			v[i] /= m[i]
		} else {
			v[i] = 0
		}
	}
	return v
}

// shrink averages blocks of f by f pixels; a block with a NaN in it becomes NaN.
// Pixel (x, y) of the result lies at (x·f + (f−1)/2, y·f + (f−1)/2) of the source.
func shrink(src []float32, w, h, f int) (dst []float32, dw, dh int) {
	if f == 1 {
		return src, w, h
	}
	dw, dh = w/f, h/f
	dst = make([]float32, dw*dh)
	k := 1 / float32(f*f)
	for y := range dh {
		for x := range dw {
			var s float32
			for j := range f {
				for _, v := range src[(y*f+j)*w+x*f : (y*f+j)*w+x*f+f] {
					s += v
				}
			}
			dst[y*dw+x] = s * k
		}
	}
	return dst, dw, dh
}
