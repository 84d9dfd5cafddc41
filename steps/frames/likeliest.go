package frames

import "math"

const (
	// jumpCost is what a jump of a tenth of the field or more between two frames
	// costs in units of correlation; a smaller one costs in proportion.
	jumpCost  = 0.15
	jumpShare = 0.1
)

// likeliest chooses one place for each frame such that fits are good and the way
// through them is short (dynamic programming, Viterbi 1967). Along a limb or over
// a plain, a frame may fit nearly as well far away: its neighbours in time know
// better. A real jump, when wind shakes the telescope, is paid for once.
func likeliest(all []looks, field float64) []place {
	n := len(all)
	cost := make([][]float64, n)
	from := make([][]int, n)
	prev := -1 // last frame that has places
	for i, l := range all {
		cost[i], from[i] = make([]float64, len(l.places)), make([]int, len(l.places))
		for k, p := range l.places {
			cost[i][k] = -p.fit
			if prev < 0 {
				continue
			}
			best := math.Inf(1)
			for m, q := range all[prev].places {
				dx, dy := p.x-q.x, p.y-q.y
				d := math.Sqrt(float64(dx*dx)+float64(dy*dy)) / (jumpShare * field)
				if c := cost[prev][m] + float64(jumpCost*min(1, d)); c < best {
					best, from[i][k] = c, m
				}
			}
			cost[i][k] += best
		}
		if len(l.places) > 0 {
			prev = i
		}
	}
	return trace(all, cost, from, prev)
}

// trace follows the cheapest way back.
func trace(all []looks, cost [][]float64, from [][]int, last int) []place {
	out := make([]place, len(all))
	if last < 0 {
		return out
	}
	k := 0
	for m, c := range cost[last] {
		if c < cost[last][k] {
			k = m
		}
	}
	for i := last; i >= 0; i-- {
		if len(all[i].places) == 0 {
			continue
		}
		out[i] = all[i].places[k]
		k = from[i][k]
	}
	return out
}
