package solve

import "math"

// Eigen returns the eigenvalues of a symmetric n×n matrix, largest first, and
// the matching unit eigenvectors as the rows of an n×n matrix, by cyclic Jacobi
// rotations (Golub & Van Loan, §8.5). Each vector's largest component is
// positive.
func Eigen(a []float64, n int) (values, vectors []float64) {
	if len(a) != n*n {
		panic("solve: Eigen of a matrix that is not square")
	}
	d := append([]float64(nil), a...)
	v := make([]float64, n*n)
	for i := range n {
		v[i*n+i] = 1
	}
	for range 60 {
		off, all := 0.0, 0.0
		for i := range n {
			for j := range n {
				s := float64(d[i*n+j] * d[i*n+j])
				all += s
				if i != j {
					off += s
				}
			}
		}
		if off <= 1e-32*all {
			break
		}
		for p := range n {
			for q := p + 1; q < n; q++ {
				rotate(d, v, n, p, q)
			}
		}
	}
	return sortedEigen(d, v, n)
}

// rotate makes d[p,q] zero.
func rotate(d, v []float64, n, p, q int) {
	b := d[p*n+q]
	if b == 0 {
		return
	}
	tau := (d[q*n+q] - d[p*n+p]) / (2 * b)
	t := 1 / (math.Abs(tau) + math.Sqrt(1+float64(tau*tau)))
	if tau < 0 {
		t = -t
	}
	c := 1 / math.Sqrt(1+float64(t*t))
	s := float64(t * c)
	for k := range n {
		x, y := d[k*n+p], d[k*n+q]
		d[k*n+p], d[k*n+q] = float64(c*x)-float64(s*y), float64(s*x)+float64(c*y)
	}
	for k := range n {
		x, y := d[p*n+k], d[q*n+k]
		d[p*n+k], d[q*n+k] = float64(c*x)-float64(s*y), float64(s*x)+float64(c*y)
		x, y = v[p*n+k], v[q*n+k]
		v[p*n+k], v[q*n+k] = float64(c*x)-float64(s*y), float64(s*x)+float64(c*y)
	}
	d[p*n+q], d[q*n+p] = 0, 0
}

func sortedEigen(d, v []float64, n int) (values, vectors []float64) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
		for j := i; j > 0 && d[order[j]*(n+1)] > d[order[j-1]*(n+1)]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	for _, k := range order {
		row := v[k*n : (k+1)*n]
		sign, big := 1.0, 0.0
		for _, x := range row {
			if math.Abs(x) > big {
				big = math.Abs(x)
				sign = math.Copysign(1, x)
			}
		}
		values = append(values, d[k*(n+1)])
		for _, x := range row {
			vectors = append(vectors, sign*x)
		}
	}
	return values, vectors
}
