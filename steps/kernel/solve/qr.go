package solve

import "math"

// LeastSquares returns the x that makes |a·x - b| smallest, a being m×n with
// m ≥ n, by Householder reflections, and that smallest length. It leaves a and b
// alone.
func LeastSquares(a, b []float64, n int) (x []float64, residual float64, err error) {
	m := len(b)
	if n < 1 || m < n || len(a) != m*n {
		panic("solve: LeastSquares needs m×n values, m ≥ n")
	}
	q := append([]float64(nil), a...)
	r := append([]float64(nil), b...)
	diag := make([]float64, n)
	for k := range n {
		size, below := 0.0, 0.0
		for i := range m {
			v := float64(q[i*n+k] * q[i*n+k])
			size += v
			if i >= k {
				below += v
			}
		}
		below = math.Sqrt(below)
		if !(below > 1e-13*math.Sqrt(size)) {
			return nil, 0, ErrSingular
		}
		if q[k*n+k] > 0 {
			below = -below
		}
		diag[k] = below
		q[k*n+k] -= below
		// The reflector is q[k:, k]; its squared length is 2·below·(below-old).
		scale := -1 / float64(below*q[k*n+k])
		for j := k + 1; j < n; j++ {
			reflectColumn(q, q[j:], n, k, m, n, scale)
		}
		reflectColumn(q, r, n, k, m, 1, scale)
	}
	x = make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		s := r[i]
		for j := i + 1; j < n; j++ {
			s -= float64(q[i*n+j] * x[j])
		}
		x[i] = s / diag[i]
	}
	for _, v := range r[n:] {
		residual += float64(v * v)
	}
	return x, math.Sqrt(residual), nil
}

// reflectColumn applies reflector k, kept in q's column, to the column c, whose
// values lie stride apart.
func reflectColumn(q, c []float64, n, k, m, stride int, scale float64) {
	s := 0.0
	for i := k; i < m; i++ {
		s += float64(q[i*n+k] * c[i*stride])
	}
	s *= scale
	for i := k; i < m; i++ {
		c[i*stride] -= float64(s * q[i*n+k])
	}
}
