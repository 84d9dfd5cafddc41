package mosaic

import (
	"math"
	"slices"

	"plenilune/steps/kernel/solve"
)

// drift is what changes smoothly through the session: the turn of the field (a mount without field rotation
// has none, an altazimuth one turns slowly) and the scale (the Moon's distance, focus). Where the
// clips' times are known, it steadies panels whose overlaps say little of their turn.
type drift struct {
	known bool
	at    []float64 // each panel's time, −1…1 over the session; NaN if unknown
	turn  [3]float64
	scale [2]float64
	// What the views of the panels foretell, if they are known, and the course is less.
	foretold *foretold
}

const (
	driftTurnSigma  = 0.0009 // radians: how far a panel strays from the smooth course
	driftScaleSigma = 0.0004
	driftLeast      = 6 // panels with times, below which nothing is assumed
)

// startDrift reads the course off the placements as they are: the median of all slopes between two panels (Theil
// 1950, Sen 1968), so that a camera turned once in a while does no harm.
func (n *network) startDrift(times []int64) {
	n.drift = drift{at: make([]float64, len(times)), foretold: n.foretell()}
	lo, hi, count := int64(math.MaxInt64), int64(math.MinInt64), 0
	for i, t := range times {
		if t > 0 && n.in[i] {
			lo, hi = min(lo, t), max(hi, t)
			count++
		}
	}
	if count < driftLeast || hi == lo {
		return
	}
	d := &n.drift
	d.known = true
	mid, half := float64(lo/2+hi/2), float64(hi-lo)/2
	for i, t := range times {
		d.at[i] = math.NaN()
		if t > 0 {
			d.at[i] = (float64(t) - mid) / half
		}
	}
	var turns, scales []float64
	for i := range n.poses {
		for j := range i {
			gap := d.at[i] - d.at[j]
			if n.in[i] && n.in[j] && math.Abs(gap) > 0.05 {
				turns = append(turns, wrap(n.poses[i].Turn-n.poses[j].Turn-(d.turnOf(i)-d.turnOf(j)))/gap)
				scales = append(scales, (n.poses[i].Scale-n.poses[j].Scale-(d.scaleOf(i)-d.scaleOf(j)))/gap)
			}
		}
	}
	if len(turns) == 0 {
		d.known = false
		return
	}
	d.turn[1], d.scale[1] = median(turns), median(scales)
	base := n.medianTurn() - d.turnOf(n.medianPanel())
	turns, scales = nil, nil
	for i, p := range n.poses {
		if n.in[i] && d.at[i] == d.at[i] {
			turns = append(turns, wrap(p.Turn-base-d.turnOf(i))-float64(d.turn[1]*d.at[i]))
			scales = append(scales, p.Scale-d.scaleOf(i)-float64(d.scale[1]*d.at[i]))
		}
	}
	d.turn[0], d.scale[0] = base+median(turns), median(scales)
}

func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

// tells is whether the course says anything of a panel.
func (d *drift) tells(i int) bool { return d.known && d.at[i] == d.at[i] }

// expects returns turn and scale (less one) on the smooth course at a panel's time.
func (d *drift) expects(i int) (turn, scale float64) {
	t := d.at[i]
	return d.turnOf(i) + (d.turn[0] + float64(t*(d.turn[1]+float64(t*d.turn[2])))), (d.scaleOf(i) - 1) + (d.scale[0] + float64(t*d.scale[1]))
}

// unknowns is how many the drift adds to the equations, beginning at first.
const driftUnknowns = 5

// add states that panels follow the course, each with a say that fades if it strays.
func (d *drift) add(eq *solve.Normal, first int, n *network, widen float64) {
	for k := range driftUnknowns {
		eq.Add([]int{first + k}, []float64{1}, 0, 1e-6)
	}
	eq.Add([]int{first + 2}, []float64{1}, d.turn[2], 1/(0.01*0.01)) // the course is nearly straight
	if !d.known {
		return
	}
	for i, p := range n.poses {
		t := d.at[i]
		if !n.in[i] || t != t {
			continue
		}
		turn, scale := d.expects(i)
		r, s := wrap(p.Turn-turn), p.Scale-1-scale
		w := 1 / (driftTurnSigma * driftTurnSigma * widen * widen)
		eq.Add([]int{4*i + 2, first, first + 1, first + 2}, []float64{1, -1, -t, -float64(t * t)}, r, w*cauchy(r*r*w))
		w = 1 / (driftScaleSigma * driftScaleSigma * widen * widen)
		eq.Add([]int{4*i + 3, first + 3, first + 4}, []float64{1, -1, -t}, s, w*cauchy(s*s*w))
	}
}

// move takes a step of the solution.
func (d *drift) move(step []float64) {
	for k := range 3 {
		d.turn[k] += step[k]
	}
	for k := range 2 {
		d.scale[k] += step[3+k]
	}
}
