package frames

import "plenilune/steps/kernel/wavelet"

// bands are two views of a picture for matching, without the fall of light
// across the field: broad detail, which noise and blur hardly touch, finds frames and
// tells whether they fit; fine detail says where they lie to a small part of a pixel.
type bands struct{ broad, fine []float32 }

// bander makes bands. Its buffers are for one goroutine.
type bander struct {
	w, h                int
	c1, c2, c3, c4, tmp []float32
}

func newBander(w, h int) *bander {
	n := w * h
	return &bander{w, h, make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
}

// split writes differences of starlet smoothings c_j of src = c_0: c_1 − c_4 as
// the broad band, c_0 − c_3 as the fine one.
func (k *bander) split(dst bands, src []float32) {
	k.smooth(src)
	for i, v := range src {
		dst.broad[i] = k.c1[i] - k.c4[i]
		dst.fine[i] = v - k.c3[i]
	}
}

// detail writes c_0 − c_3, what tells places apart at a coarse scale.
func (k *bander) detail(dst, src []float32) {
	k.smooth(src)
	for i, v := range src {
		dst[i] = v - k.c3[i]
	}
}

func (k *bander) smooth(src []float32) {
	step := 1
	for _, c := range [][]float32{k.c1, k.c2, k.c3, k.c4} {
		wavelet.Smooth(c, src, k.tmp, k.w, k.h, step)
		src = c
		step *= 2
	}
}
