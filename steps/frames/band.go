package frames

import (
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/wavelet"
)

// bander takes a picture's detail without the fall of light across the field. Its
// buffers are for one goroutine.
type bander struct {
	w, h   int
	levels int
	c      [2][]float32
	tmp    []float32
}

// newBander makes detail of a picture up to the scale of so many starlet levels.
func newBander(w, h, levels int) *bander {
	n := w * h
	return &bander{w, h, levels, [2][]float32{make([]float32, n), make([]float32, n)}, make([]float32, n)}
}

// detail writes the difference of src = c_0 and its starlet smoothing c_levels.
func (k *bander) detail(dst, src []float32) {
	from := src
	for j := range k.levels {
		wavelet.Smooth(k.c[j&1], from, k.tmp, k.w, k.h, 1<<j)
		from = k.c[j&1]
	}
	copy(dst, src)
	lanes.AddPairs(dst, from, from, from, from, -0.5, 0) // dst − from
}
