package warp

import "plenilune/steps/kernel/plane"

// shiftRows is ResampleRows for a pure translation.
func shiftRows(dst, src *plane.Image, dx, dy float64, k Kernel, y0, y1 int) {
	s := sampler{src: src, tb: &tables[k]}
	for y := y0; y < y1; y++ {
		for x := range dst.W {
			s.put(dst, y*dst.W+x, float64(x)+dx, float64(y)+dy)
		}
	}
}
