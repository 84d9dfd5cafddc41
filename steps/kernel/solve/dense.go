// Package solve holds the small dense linear algebra that decides where pixels
// go, in float64 and with the same bits on every machine. Matrices are
// row-major slices.
package solve

import (
	"errors"
	"math"
)

// ErrSingular is returned where the equations do not determine the answer.
var ErrSingular = errors.New("solve: the equations do not determine all unknowns")

// Cholesky solves a·x = b for a symmetric positive definite n×n matrix, of which
// it reads the lower triangle, and returns x. It leaves a and b alone.
func Cholesky(a, b []float64) ([]float64, error) {
	n := len(b)
	if len(a) != n*n {
		panic("solve: Cholesky of a matrix that is not square")
	}
	l := append([]float64(nil), a...)
	if err := factor(l, n); err != nil {
		return nil, err
	}
	x := append([]float64(nil), b...)
	forward(l, x)
	backward(l, x)
	return x, nil
}

// Inverse returns the inverse of a symmetric positive definite matrix: of normal
// equations, the covariance of the unknowns.
func Inverse(a []float64, n int) ([]float64, error) {
	if len(a) != n*n {
		panic("solve: Inverse of a matrix that is not square")
	}
	l := append([]float64(nil), a...)
	if err := factor(l, n); err != nil {
		return nil, err
	}
	inv := make([]float64, n*n)
	x := make([]float64, n)
	for j := range n {
		clear(x)
		x[j] = 1
		forward(l, x)
		backward(l, x)
		for i := j; i < n; i++ {
			inv[i*n+j], inv[j*n+i] = x[i], x[i]
		}
	}
	return inv, nil
}

// factor replaces the lower triangle of a by L with a = L·Lᵀ.
func factor(a []float64, n int) error {
	for j := range n {
		rj := a[j*n : j*n+j+1]
		d := a[j*n+j]
		limit := math.Abs(d) * 1e-14 // what is left of a pivot by rounding alone
		for _, v := range rj[:j] {
			d -= float64(v * v)
		}
		if !(d > limit) {
			return ErrSingular
		}
		d = math.Sqrt(d)
		a[j*n+j] = d
		for i := j + 1; i < n; i++ {
			ri := a[i*n : i*n+j+1]
			a[i*n+j] = (ri[j] - dot(ri[:j], rj[:j])) / d
		}
	}
	return nil
}

// forward solves L·x = b in place.
func forward(l, x []float64) {
	n := len(x)
	for i := range x {
		x[i] = (x[i] - dot(l[i*n:i*n+i], x[:i])) / l[i*n+i]
	}
}

// backward solves Lᵀ·x = b in place.
func backward(l, x []float64) {
	n := len(x)
	for i := n - 1; i >= 0; i-- {
		x[i] /= l[i*n+i]
		v := x[i]
		for j, c := range l[i*n : i*n+i] {
			x[j] -= float64(c * v)
		}
	}
}

// dot sums in four lanes, always the same four.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	for len(a) >= 4 {
		s0 += float64(a[0] * b[0])
		s1 += float64(a[1] * b[1])
		s2 += float64(a[2] * b[2])
		s3 += float64(a[3] * b[3])
		a, b = a[4:], b[4:]
	}
	for i, v := range a {
		s0 += float64(v * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}
