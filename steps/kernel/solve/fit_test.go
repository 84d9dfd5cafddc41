package solve

import (
	"math"
	"testing"
)

// Rosenbrock's (1960) valley as two residuals: 10(y-x²), 1-x; minimum at (1, 1).
func TestFitRosenbrock(t *testing.T) {
	x := []float64{-1.2, 1}
	r, err := Fit(x, FitOptions{Rounds: 100}, func(x []float64, e *Normal) {
		e.Add([]int{0, 1}, []float64{-20 * x[0], 10}, 10*(x[1]-x[0]*x[0]), 1)
		e.Add([]int{0}, []float64{-1}, 1-x[0], 1)
	})
	if err != nil || !r.Converged {
		t.Fatalf("%+v, %v", r, err)
	}
	near(t, "x", x[0], 1, 1e-6)
	near(t, "y", x[1], 1, 1e-6)
}

// The statistical reference data set Misra1a of NIST (StRD, nonlinear
// regression): y = b1(1-exp(-b2 x)), certified to 11 digits
// (certified values from memory, borne out by the residual sum of squares).
func TestFitMisra1a(t *testing.T) {
	data := [][2]float64{
		{10.07, 77.6}, {14.73, 114.9}, {17.94, 141.1}, {23.93, 190.8}, {29.61, 239.9},
		{35.18, 289.0}, {40.02, 332.8}, {44.82, 378.4}, {50.76, 434.8}, {55.05, 477.3},
		{61.01, 536.8}, {66.40, 593.1}, {75.47, 689.1}, {81.78, 760.0},
	}
	for _, start := range [][]float64{{500, 0.0001}, {250, 0.0005}} {
		b := append([]float64(nil), start...)
		r, err := Fit(b, FitOptions{Tolerance: 1e-14, Rounds: 200}, func(b []float64, e *Normal) {
			for _, d := range data {
				f := math.Exp(-b[1] * d[1])
				e.Add([]int{0, 1}, []float64{1 - f, b[0] * d[1] * f}, b[0]*(1-f)-d[0], 1)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "b1", b[0], 2.3894212918e+02, 1e-4)
		near(t, "b2", b[1], 5.5015643181e-04, 1e-9)
		near(t, "residual sum of squares", 2*r.Cost, 1.2455138894e-01, 1e-9)
	}
}

// A line through points of which two are grossly wrong; an unknown that nothing
// touches stays where it was.
func TestFitHuber(t *testing.T) {
	x := []float64{0, 0, 42}
	r, err := Fit(x, FitOptions{}, func(x []float64, e *Normal) {
		for i := range 21 {
			u := float64(i)
			y := 2*u + 1
			if i == 4 || i == 15 {
				y += 500
			}
			e.AddHuber([]int{0, 1}, []float64{u, 1}, x[0]*u+x[1]-y, 1, 0.01)
		}
	})
	if err != nil || !r.Converged {
		t.Fatalf("%+v, %v", r, err)
	}
	near(t, "slope", x[0], 2, 1e-3)
	near(t, "offset", x[1], 1, 1e-2)
	near(t, "untouched", x[2], 42, 0)
}

// The gradient that Normal gathers is the cost's.
func TestNormalGradient(t *testing.T) {
	eval := func(x []float64) *Normal {
		e := NewNormal(2)
		for i := range 7 {
			u := float64(i)
			e.AddHuber([]int{1, 0}, []float64{2 * x[1] * u, 1}, x[0]+x[1]*x[1]*u-3, 0.7, 2)
		}
		return e
	}
	x := []float64{0.3, 0.9}
	g := eval(x).G
	for i := range x {
		const h = 1e-6
		up, down := append([]float64(nil), x...), append([]float64(nil), x...)
		up[i] += h
		down[i] -= h
		near(t, "slope of the cost", g[i], (eval(up).Cost-eval(down).Cost)/(2*h), 1e-6)
	}
}

func TestLinearSolve(t *testing.T) {
	e := NewNormal(2)
	e.Add([]int{0}, []float64{2}, -6, 1) // 2x = 6
	e.Add([]int{1, 0}, []float64{1, 1}, -5, 3)
	x, err := e.Solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "x", x[0], 3, 1e-12)
	near(t, "y", x[1], 2, 1e-12)
}

func BenchmarkFit(b *testing.B) {
	// About a mosaic of 50 panels: 200 unknowns, 10 000 residuals of 8 each.
	const n, m = 200, 10000
	c := random(m*8, 1)
	b.Run("200x10000/round", func(b *testing.B) {
		e := NewNormal(n)
		at, slope := make([]int, 8), make([]float64, 8)
		for b.Loop() {
			e.Reset()
			for i := range m {
				for j := range at {
					at[j] = (i*31 + j*7) % n
					slope[j] = c[i*8+j]
				}
				e.Add(at, slope, 1, 1)
			}
			if _, err := e.Solve(); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkCholesky(b *testing.B) {
	const n = 200
	a, x := gram(random(n*n, 3), n), random(n, 4)
	b.Run("200", func(b *testing.B) {
		for b.Loop() {
			if _, err := Cholesky(a, x); err != nil {
				b.Fatal(err)
			}
		}
	})
}
