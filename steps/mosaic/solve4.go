package mosaic

import "plenilune/steps/kernel/solve"

// solve4 solves a symmetric 4×4 system given by its upper triangle in row order.
func solve4(n [10]float64, b [4]float64) (x [4]float64, ok bool) {
	a := make([]float64, 16)
	k := 0
	for p := range 4 {
		for q := p; q < 4; q++ {
			a[4*p+q], a[4*q+p] = n[k], n[k]
			k++
		}
	}
	v, err := solve.Cholesky(a, b[:])
	if err != nil {
		return x, false
	}
	copy(x[:], v)
	return x, true
}
