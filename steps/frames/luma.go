package frames

import "plenilune/steps/kernel/plane"

// luma writes the brightness of a calibrated frame into dst: the picture itself
// for mono, (R+2G+B)/4 for colour. Behind a colour filter that mean is taken by
// [1 2 1]ᵀ[1 2 1]/16, which sees every colour of a 2×2 mosaic with a fixed weight
// at every place: a colour of its own leaves no pattern.
func luma(dst []float32, src *plane.Image, mosaicked bool) {
	switch {
	case src.Channels() == 3:
		r, g, b := src.Pix[0], src.Pix[1], src.Pix[2]
		for i := range dst {
			dst[i] = 0.25 * ((r[i] + b[i]) + (g[i] + g[i]))
		}
	case mosaicked:
		binomial(dst, src.Pix[0], src.W, src.H)
	default:
		copy(dst, src.Pix[0])
	}
}

// binomial convolves with [1 2 1]ᵀ[1 2 1]/16; borders are mirrored about the
// outermost pixel's centre, which keeps the colours of a mosaic apart.
func binomial(dst, src []float32, w, h int) {
	var rows [3][]float32
	for k := range rows {
		rows[k] = make([]float32, w)
	}
	mirror := func(i, n int) int {
		if i < 0 {
			i = -i
		}
		if i >= n {
			i = 2*n - 2 - i
		}
		return i
	}
	line := func(out []float32, y int) {
		s := src[mirror(y, h)*w:][:w]
		for x := 1; x < w-1; x++ {
			out[x] = (s[x-1] + s[x+1]) + (s[x] + s[x])
		}
		out[0] = 2 * (s[0] + s[mirror(1, w)])
		out[w-1] = 2 * (s[w-1] + s[mirror(w-2, w)])
	}
	line(rows[0], -1)
	line(rows[1], 0)
	for y := range h {
		line(rows[2], y+1)
		d, a, b, c := dst[y*w:][:w], rows[0], rows[1], rows[2]
		for x := range d {
			d[x] = ((a[x] + c[x]) + (b[x] + b[x])) * (1.0 / 16)
		}
		rows[0], rows[1], rows[2] = b, c, a
	}
}
