package solve

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10v, want %v", what, got, want)
	}
}

func random(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 0))
	v := make([]float64, n)
	for i := range v {
		v[i] = r.Float64()*2 - 1
	}
	return v
}

// gram returns bᵀb + I of an n×n matrix.
func gram(b []float64, n int) []float64 {
	a := make([]float64, n*n)
	for i := range n {
		for j := range n {
			for k := range n {
				a[i*n+j] += b[k*n+i] * b[k*n+j]
			}
		}
		a[i*n+i]++
	}
	return a
}

// By hand: [4 2; 2 3]·[1; 2] = [8; 8].
func TestCholeskyByHand(t *testing.T) {
	x, err := Cholesky([]float64{4, 2, 2, 3}, []float64{8, 8})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "x0", x[0], 1, 1e-15)
	near(t, "x1", x[1], 2, 1e-15)
	for _, a := range [][]float64{{1, 2, 2, 1}, {1, 1, 1, 1}, {0, 0, 0, 0}, {math.NaN(), 0, 0, 1}} {
		if _, err := Cholesky(a, []float64{1, 1}); !errors.Is(err, ErrSingular) {
			t.Errorf("%v: %v, want ErrSingular", a, err)
		}
	}
}

// Second opinion: gonum v0.17, mat.
func TestAgainstGonum(t *testing.T) {
	for _, n := range []int{1, 2, 3, 5, 17, 60} {
		a, b := gram(random(n*n, uint64(n)), n), random(n, 99)
		x, err := Cholesky(a, b)
		if err != nil {
			t.Fatal(err)
		}
		var want mat.VecDense
		if err := want.SolveVec(mat.NewDense(n, n, a), mat.NewVecDense(n, b)); err != nil {
			t.Fatal(err)
		}
		inv, err := Inverse(a, n)
		if err != nil {
			t.Fatal(err)
		}
		var winv mat.Dense
		if err := winv.Inverse(mat.NewDense(n, n, a)); err != nil {
			t.Fatal(err)
		}
		for i := range x {
			near(t, "Cholesky", x[i], want.AtVec(i), 1e-12)
			for j := range x {
				near(t, "Inverse", inv[i*n+j], winv.At(i, j), 1e-12)
			}
		}

		m := n + 9
		q, c := random(m*n, uint64(n)+7), random(m, 98)
		x, residual, err := LeastSquares(q, c, n)
		if err != nil {
			t.Fatal(err)
		}
		var ls mat.Dense
		if err := ls.Solve(mat.NewDense(m, n, q), mat.NewDense(m, 1, c)); err != nil {
			t.Fatal(err)
		}
		var r mat.Dense
		r.Mul(mat.NewDense(m, n, q), &ls)
		r.Sub(&r, mat.NewDense(m, 1, c))
		for i := range x {
			near(t, "LeastSquares", x[i], ls.At(i, 0), 1e-11)
		}
		near(t, "residual", residual, mat.Norm(&r, 2), 1e-12)
	}
}

// Second opinion: gonum v0.17, mat.
func TestEigenAgainstGonum(t *testing.T) {
	for _, n := range []int{1, 2, 3, 5, 17, 60} {
		a := gram(random(n*n, uint64(n)), n)
		var eig mat.EigenSym
		if !eig.Factorize(mat.NewSymDense(n, a), true) {
			t.Fatal("gonum found no eigenvalues")
		}
		values, vectors := Eigen(a, n)
		for i, v := range eig.Values(nil) {
			near(t, "eigenvalue", values[n-1-i], v, 1e-11)
		}
		for k := range n {
			for i := range n {
				s := 0.0
				for j := range n {
					s += a[i*n+j] * vectors[k*n+j]
				}
				near(t, "A·v = λ·v", s, values[k]*vectors[k*n+i], 1e-11)
			}
		}
	}
}

func TestSingularLeastSquares(t *testing.T) {
	if _, _, err := LeastSquares([]float64{1, 2, 2, 4, 3, 6}, []float64{1, 2, 3}, 2); !errors.Is(err, ErrSingular) {
		t.Errorf("dependent columns: %v", err)
	}
}

func TestEigenByHand(t *testing.T) {
	values, vectors := Eigen([]float64{2, 1, 1, 2}, 2)
	near(t, "λ0", values[0], 3, 1e-15)
	near(t, "λ1", values[1], 1, 1e-15)
	near(t, "v0", vectors[0], math.Sqrt(0.5), 1e-15)
	near(t, "v0", vectors[1], math.Sqrt(0.5), 1e-15)
}

// The worked example of Umeyama (1991, PAMI 13:376), as repeated in JMET 5(1) 2013.
func TestUmeyamaExample(t *testing.T) {
	s, err := Umeyama([]float64{0, 0, 1, 0, 0, 2}, []float64{0, 0, -1, 0, 0, 2}, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "angle", math.Atan2(s.Sin, s.Cos)*180/math.Pi, -33.6901, 1e-4)
	near(t, "cos", s.Cos, .83205, 1e-5)
	near(t, "-sin", -s.Sin, .55470, 1e-5)
	near(t, "scale", s.Scale, .721110, 1e-6)
	near(t, "tx", s.TX, -.8, 1e-12)
	near(t, "ty", s.TY, .4, 1e-12)
	near(t, "mean squared residual", s.RMS*s.RMS, .533333, 1e-6)
}

// Computed with scikit-image 0.19.3, estimate_transform('similarity').
func TestUmeyamaWithNoise(t *testing.T) {
	from := []float64{0, 0, 100, 0, 100, 80, 0, 80, 37, 12}
	noise := []float64{.3, -.2, -.1, .4, .2, .1, -.4, -.3, 0, 0}
	truth := Similarity{Scale: 1.02, Cos: math.Cos(7.5 * math.Pi / 180), Sin: math.Sin(7.5 * math.Pi / 180), TX: 5, TY: -3}
	to := make([]float64, len(from))
	for i := 0; i < len(from); i += 2 {
		x, y := truth.Apply(from[i], from[i+1])
		to[i], to[i+1] = x+noise[i], y+noise[i+1]
	}
	s, err := Umeyama(from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", s.Scale, 1.0201626, 1e-6)
	near(t, "angle", math.Atan2(s.Sin, s.Cos)*180/math.Pi, 7.7166984, 1e-6)
	near(t, "tx", s.TX, 5.1488603, 1e-6)
	near(t, "ty", s.TY, -3.1702559, 1e-6)
	near(t, "rms", s.RMS, .2623325, 1e-6)
	// A point of weight 2 is the point twice.
	twice, err := Umeyama(append([]float64{100, 80}, from...), append([]float64{to[4], to[5]}, to...), nil)
	if err != nil {
		t.Fatal(err)
	}
	weighted, err := Umeyama(from, to, []float64{1, 1, 2, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "weighted scale", weighted.Scale, twice.Scale, 1e-13)
	near(t, "weighted rms", weighted.RMS, twice.RMS, 1e-13)
}

func TestUmeyamaNeverMirrors(t *testing.T) {
	from := []float64{0, 0, 10, 0, 10, 5, 0, 5, 3, 1}
	to := make([]float64, len(from))
	for i := 0; i < len(from); i += 2 {
		to[i], to[i+1] = -from[i], from[i+1]
	}
	s, err := Umeyama(from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "determinant", s.Cos*s.Cos+s.Sin*s.Sin, 1, 1e-14)
	if s.RMS < 1 {
		t.Errorf("a mirror image was fitted to %v", s.RMS)
	}
	if _, err := Umeyama([]float64{1, 1, 1, 1}, []float64{0, 0, 5, 5}, nil); err == nil {
		t.Error("one point twice gave a similarity")
	}
}
