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

// luma writes what frames are aligned by: the picture itself for mono, else green,
// which a camera has most of and against which the air displaces red and blue.
// Behind a colour filter, the other sites get the mean of the greens about them.
func luma(dst []float32, src *plane.Image, sites *[2][2]int) {
	if sites == nil {
		copy(dst, src.Pix[min(1, src.Channels()-1)])
		return
	}
	w, h, pix := src.W, src.H, src.Pix[0]
	for y := range h {
		up, dn := max(y-1, 1-y)*w, min(y+1, 2*h-3-y)*w
		for x := range w {
			if sites[y&1][x&1] == 1 {
				dst[y*w+x] = pix[y*w+x]
				continue
			}
			l, r := max(x-1, 1-x), min(x+1, 2*w-3-x)
			dst[y*w+x] = 0.25 * ((pix[up+x] + pix[dn+x]) + (pix[y*w+l] + pix[y*w+r]))
		}
	}
}
