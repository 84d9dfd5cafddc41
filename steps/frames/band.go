package frames

import "plenilune/steps/kernel/wavelet"

// bander turns a picture into its detail of middle scale: the difference of
// two starlet smoothings, so that neither noise nor the fall of light across the
// field takes part in matching. Its buffers are for one goroutine.
type bander struct {
	w, h         int
	a, b, c, tmp []float32
}

func newBander(w, h int) *bander {
	n := w * h
	return &bander{w, h, make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
}

// between writes c_from − c_to, c_0 being src and c_j+1 the smoothing of c_j.
func (k *bander) between(dst, src []float32, from, to int) {
	cur, next, low := k.a, k.b, src
	if from > 0 {
		low = k.c
	}
	copy(cur, src)
	for j := range to {
		if j == from && from > 0 {
			copy(k.c, cur)
		}
		wavelet.Smooth(next, cur, k.tmp, k.w, k.h, 1<<j)
		cur, next = next, cur
	}
	for i := range dst {
		dst[i] = low[i] - cur[i]
	}
}
