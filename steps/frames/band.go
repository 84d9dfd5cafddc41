package frames

import (
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/wavelet"
)

// bander takes a picture's detail between two scales, without the fall of light
// across the field. Its buffers are for one goroutine.
type bander struct {
	w, h, lo, hi int
	c            [2][]float32 // a smoothing and the next
	tmp          []float32
}

// newBander makes the difference of the starlet smoothings c_lo and c_hi.
func newBander(w, h, lo, hi int) *bander {
	n := w * h
	return &bander{w, h, lo, hi, [2][]float32{make([]float32, n), make([]float32, n)}, make([]float32, n)}
}

// detail writes c_lo − c_hi of src = c_0.
func (k *bander) detail(dst, src []float32) {
	from := src
	for j := range k.hi {
		if j == k.lo {
			copy(dst, from)
		}
		to := k.c[j&1]
		wavelet.Smooth(to, from, k.tmp, k.w, k.h, 1<<j)
		from = to
	}
	lanes.AddPairs(dst, from, from, from, from, -0.5, 0) // dst − from
}
