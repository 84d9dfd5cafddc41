package stacks

import (
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/wavelet"
)

// views are a frame's luma seen for alignment: broad detail for the first step,
// which may be off by some pixels, fine detail for the last.
type views struct{ broad, fine []float32 }

// viewer makes views of pictures of one size. It is for one goroutine.
type viewer struct {
	w, h                int
	luma                []float32
	c1, c2, c3, c4, tmp []float32
	out                 views
}

func newViewer(w, h int) *viewer {
	f := func() []float32 { return make([]float32, w*h) }
	return &viewer{w, h, f(), f(), f(), f(), f(), f(), views{f(), f()}}
}

// see returns views of a luma; they last until the next call. They are differences
// of starlet smoothings c_j of the luma c_0: c_1 − c_4 is broad, c_0 − c_3 fine.
func (v *viewer) see(luma []float32) views {
	step, src := 1, luma
	for _, c := range [][]float32{v.c1, v.c2, v.c3, v.c4} {
		wavelet.Smooth(c, src, v.tmp, v.w, v.h, step)
		src, step = c, 2*step
	}
	for i, p := range luma {
		v.out.broad[i] = v.c1[i] - v.c4[i]
		v.out.fine[i] = p - v.c3[i]
	}
	return v.out
}

// luma writes the brightness of a calibrated frame: the picture itself for mono,
// (R+2G+B)/4 for colour, behind a colour filter by [1 2 1]ᵀ[1 2 1]/16, which sees
// every colour of a 2×2 mosaic with a fixed weight at every place.
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
	mirror := func(i, n int) int {
		if i < 0 {
			i = -i
		}
		if i >= n {
			i = 2*n - 2 - i
		}
		return i
	}
	line := func(out []float32, y int) []float32 {
		s := src[mirror(y, h)*w:][:w]
		for x := 1; x < w-1; x++ {
			out[x] = (s[x-1] + s[x+1]) + (s[x] + s[x])
		}
		out[0] = 2 * (s[0] + s[mirror(1, w)])
		out[w-1] = 2 * (s[w-1] + s[mirror(w-2, w)])
		return out
	}
	a, b, c := line(make([]float32, w), -1), line(make([]float32, w), 0), make([]float32, w)
	for y := range h {
		line(c, y+1)
		d := dst[y*w:][:w]
		for x := range d {
			d[x] = ((a[x] + c[x]) + (b[x] + b[x])) * (1.0 / 16)
		}
		a, b, c = b, c, a
	}
}
