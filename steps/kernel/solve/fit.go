package solve

import "math"

// Normal gathers the normal equations of a sum of squared residuals, one
// residual after the other. The order of the calls is part of the result's last
// bits: keep it fixed.
type Normal struct {
	N    int
	A    []float64 // JᵀWJ, lower triangle
	G    []float64 // JᵀWr
	Cost float64   // ½Σ of the (robust) squared residuals
}

// NewNormal returns empty equations in n unknowns.
func NewNormal(n int) *Normal {
	return &Normal{N: n, A: make([]float64, n*n), G: make([]float64, n)}
}

// Reset empties the equations.
func (e *Normal) Reset() {
	clear(e.A)
	clear(e.G)
	e.Cost = 0
}

// Add takes in one residual r of weight w (1/σ²), with its derivatives by the
// unknowns at, which must be distinct: a residual touches few unknowns.
func (e *Normal) Add(at []int, slope []float64, r, w float64) {
	e.Cost += float64(0.5 * float64(w*float64(r*r)))
	e.add(at, slope, r, w)
}

// AddHuber is Add under Huber's loss: beyond |r| = k the cost grows on the
// straight line, so that gross errors pull no harder the further off they are.
func (e *Normal) AddHuber(at []int, slope []float64, r, w, k float64) {
	a := math.Abs(r)
	if a <= k {
		e.Add(at, slope, r, w)
		return
	}
	e.Cost += float64(w * float64(k*(a-float64(0.5*k))))
	e.add(at, slope, r, float64(w*k)/a)
}

func (e *Normal) add(at []int, slope []float64, r, w float64) {
	for i, p := range at {
		s := float64(w * slope[i])
		e.G[p] += float64(s * r)
		for j, q := range at[:i+1] {
			v := float64(s * slope[j])
			if p >= q {
				e.A[p*e.N+q] += v
			} else {
				e.A[q*e.N+p] += v
			}
		}
	}
}

// Solve returns the step that minimises the linear problem: A·x = -G.
func (e *Normal) Solve() ([]float64, error) {
	b := make([]float64, e.N)
	for i, g := range e.G {
		b[i] = -g
	}
	return Cholesky(e.A, b)
}

// FitOptions steers Fit; the zero value is sensible.
type FitOptions struct {
	Rounds    int     // most evaluations, 0 means 60
	Tolerance float64 // stop when the cost falls by less than this share; 0 means 1e-10
}

// FitResult tells how a Fit ended.
type FitResult struct {
	Cost      float64
	Rounds    int  // evaluations used
	Converged bool // stopped by itself
}

// Fit moves x to a minimum of a sum of squares by the method of Levenberg (1944)
// and Marquardt (1963), damping scaled by the diagonal. eval adds every residual
// at x to the equations, which come empty. The linear case takes two rounds. x
// is changed in place; unknowns that no residual touches stay.
func Fit(x []float64, o FitOptions, eval func(x []float64, e *Normal)) (FitResult, error) {
	if o.Rounds == 0 {
		o.Rounds = 60
	}
	if o.Tolerance == 0 {
		o.Tolerance = 1e-10
	}
	n := len(x)
	now, next := NewNormal(n), NewNormal(n)
	eval(x, now)
	res := FitResult{Cost: now.Cost, Rounds: 1}
	if math.IsNaN(now.Cost) || math.IsInf(now.Cost, 0) {
		return res, ErrSingular
	}
	trial := make([]float64, n)
	damp := 1e-6
	for res.Rounds < o.Rounds {
		step, err := damped(now, damp)
		if err != nil {
			if damp > 1e12 {
				return res, err
			}
			damp *= 10
			continue
		}
		for i := range x {
			trial[i] = x[i] + step[i]
		}
		next.Reset()
		eval(trial, next)
		res.Rounds++
		gain := now.Cost - next.Cost
		if !(gain >= 0) { // also where the trial has no cost at all
			if damp > 1e12 || -gain <= float64(o.Tolerance*now.Cost) {
				res.Converged = true
				return res, nil
			}
			damp *= 10
			continue
		}
		copy(x, trial)
		done := gain <= float64(o.Tolerance*now.Cost)
		now, next = next, now
		res.Cost = now.Cost
		damp = max(damp/10, 1e-15)
		if done {
			res.Converged = true
			return res, nil
		}
	}
	return res, nil
}

func damped(e *Normal, damp float64) ([]float64, error) {
	n := e.N
	a := append([]float64(nil), e.A...)
	b := make([]float64, n)
	for i := range n {
		d := a[i*n+i]
		if d == 0 {
			a[i*n+i] = 1 // touched by nothing: its step is 0
		} else {
			a[i*n+i] = d + float64(damp*d)
		}
		b[i] = -e.G[i]
	}
	return Cholesky(a, b)
}
