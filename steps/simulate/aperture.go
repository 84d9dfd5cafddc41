package simulate

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// annulusTransfer is the modulation transfer of a perfect telescope whose
// mirror is shadowed in its middle, at the frequency nu in units of the cut-off
// D/λ and the linear obstruction eps (O'Neill 1956): the overlap of two rings.
func annulusTransfer(nu, eps float64) float64 {
	if nu >= 1 {
		return 0
	}
	d := 2 * nu
	area := overlap(1, 1, d) - float64(2*overlap(1, eps, d)) + overlap(eps, eps, d)
	return max(0, area/float64(math.Pi*(1-float64(eps*eps))))
}

// overlap is the area common to two circles of radii a ≥ b, d apart.
func overlap(a, b, d float64) float64 {
	switch {
	case d >= a+b:
		return 0
	case d <= a-b:
		return float64(math.Pi * float64(b*b))
	}
	x := (float64(d*d) + float64(a*a) - float64(b*b)) / (2 * d)
	y := math.Sqrt(max(0, float64(a*a)-float64(x*x)))
	return float64(float64(a*a)*portable.Atan2(y, x)) + float64(float64(b*b)*portable.Atan2(y, d-x)) - float64(d*y)
}

// pupil is a ring-shaped aperture on a grid of n by n: the share of each cell
// that is open, in a square window just large enough.
type pupil struct {
	n      int       // side of the transform that turns it into a spread function
	side   int       // side of the window
	radius float64   // cells
	open   []float32 // side*side
	total  float64
	xy     []float64 // coordinates of the window's cells from its centre
}

// newPupil makes a pupil whose spread function, by a transform of n cells, has
// the cut-off frequency cutoff in cycles a sample.
func newPupil(n int, cutoff, eps float64) *pupil {
	p := &pupil{n: n, radius: float64(cutoff*float64(n)) / 2}
	p.side = 2*int(math.Ceil(p.radius)) + 1
	p.open = make([]float32, p.side*p.side)
	p.xy = make([]float64, p.side)
	for i := range p.xy {
		p.xy[i] = float64(i - p.side/2)
	}
	for y := range p.side {
		for x := range p.side {
			r := math.Sqrt(sq(p.xy[x]) + sq(p.xy[y]))
			v := min(1, max(0, p.radius-r+0.5)) - min(1, max(0, float64(p.radius*eps)-r+0.5))
			p.open[y*p.side+x] = float32(v)
			p.total += v
		}
	}
	return p
}

// flatten takes the mean and the least-squares plane, weighted by the open
// area, out of a phase over the window: piston, tip and tilt. It returns the
// variance that is left, in rad².
func (p *pupil) flatten(phase []float64) float64 {
	var mean, tx, ty, xx float64
	for i, w := range p.open {
		w, x, y := float64(w), p.xy[i%p.side], p.xy[i/p.side]
		mean += float64(w * phase[i])
		tx += float64(w * float64(x*phase[i]))
		ty += float64(w * float64(y*phase[i]))
		xx += float64(w * float64(x*x))
	}
	mean, tx, ty = mean/p.total, tx/xx, ty/xx
	rest := 0.0
	for i, w := range p.open {
		phase[i] -= mean + float64(tx*p.xy[i%p.side]) + float64(ty*p.xy[i/p.side])
		rest += float64(float64(w) * sq(phase[i]))
	}
	return rest / p.total
}
