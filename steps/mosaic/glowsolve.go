package mosaic

import (
	"math"
	"slices"

	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
)

const (
	// glowSpread is how strong a glow is thought to be, in units of white: one standard deviation of either of its parts. It also keeps
	// all panels from tilting alike, which nothing else speaks of where no sky is seen.
	glowSpread = 0.005
	// glowTies is how many places of the ground are compared at the most.
	glowTies = 40_000
	// toneAlike is how many neighbouring places say as much as one that errs alone: what sharpness and placement do to one they do to
	// those beside it. Measured, with this the glow found on nights without any is as large as its reckoned uncertainty.
	toneAlike = 8
	// leastGlow is the rms over the panels, in units of white, below which a glow is not worth a correction; and below glowSure times its
	// uncertainty there may be none.
	leastGlow = 0.001
	glowSure  = 2
	// leastOff bounds how much smaller errors of places may come out than they were thought to be.
	leastOff = 0.1
)

// glowing is the state of a solution for levels and glows together. Its glows are in the common brightness, so that a panel's value becomes
// Factor·value + Offset − glow, and all unknowns are linear.
type glowing struct {
	lv     []level
	g      glows
	in     []bool
	first  []float64
	ties   []toneTie
	weight []float64
	sky    [][]skyPlace
	bare   []skyLevel
	halo   halo
	noHalo bool
}

// stray is the light besides the Moon's own. Neither glows nor halo are there where they do not stand out of what chance makes of them.
type stray struct {
	glows            glows
	strength, unsure float64 // of the glows: their rms over the panels, and what chance makes of it, in units of white of the common brightness
	halo             halo
	spread           float64 // the halo's rms over the places of sky, in the same
}

// findStray solves for all panels' levels and glows and for the halo, at once and robustly, from levels found without.
func findStray(s shown, lv []level) (stray, error) {
	q := glowing{lv: slices.Clone(lv), g: make(glows, len(lv)), in: s.in, sky: s.sky, bare: skyLevels(s.sky)}
	q.first = make([]float64, len(lv))
	for i, l := range lv {
		q.first[i] = l.Factor
	}
	for k := 0; k < len(s.ties); k += 1 + len(s.ties)/glowTies {
		t := s.ties[k]
		d := max(q.first[t.A]*t.SA, q.first[t.B]*t.SB)
		q.ties, q.weight = append(q.ties, t), append(q.weight, 1/(d*d))
	}
	eq, err := q.settle()
	if err == nil && q.halo.mean(s.sky) > 0 {
		// It grows outwards: no halo, but a bowl that glows make of the ground, and of the sky with them.
		q.halo, q.noHalo = halo{}, true
		eq, err = q.settle()
	}
	if err != nil {
		return stray{}, err
	}
	var out stray
	if out.strength, out.unsure, err = q.strength(eq); err != nil {
		return stray{}, err
	}
	if out.strength >= max(leastGlow, glowSure*out.unsure) {
		for i, g := range q.g {
			out.glows = append(out.glows, glow{g.U / q.lv[i].Factor, g.V / q.lv[i].Factor})
		}
	}
	if out.spread = q.halo.spread(s.sky); out.spread >= leastGlow {
		out.halo = q.halo
	}
	return out, nil
}

// settle solves for all, and returns the last equations.
func (q *glowing) settle() (eq *solve.Normal, err error) {
	const rounds = 20
	for round := range rounds {
		if round == rounds/2 {
			q.weigh()
		}
		// At first all that glows make of ties and sky must be taken in earnest.
		eq = q.equations(float64(int(9) << max(0, 16-2*round)))
		step, err := eq.Solve()
		if err != nil {
			return nil, err
		}
		if most := q.move(step); most < 1e-8 && round > rounds/2 {
			break
		}
	}
	return eq, nil
}

// unknowns are the indices of a panel's: factor and offset, which stand first, as in a solution for levels alone, and its glow.
func (q *glowing) unknowns(i int) [4]int {
	n := len(q.lv)
	return [4]int{2 * i, 2*i + 1, 2*n + 2*i, 2*n + 2*i + 1}
}

// shows is what a panel's place shows in the common brightness.
func (q *glowing) shows(i int, value, u, v float64) float64 {
	l := q.lv[i]
	return float64(l.Factor*value) + l.Offset - q.g[i].at(u, v)
}

// equations gathers those of the ties, the sky and the priors.
func (q *glowing) equations(wide float64) *solve.Normal {
	eq := solve.NewNormal(4*len(q.lv) + haloTerms)
	for k, t := range q.ties {
		a, b := q.unknowns(t.A), q.unknowns(t.B)
		r, w := q.shows(t.A, t.VA, t.AU, t.AV)-q.shows(t.B, t.VB, t.BU, t.BV), q.weight[k]
		eq.Add([]int{a[0], a[1], a[2], a[3], b[0], b[1], b[2], b[3]},
			[]float64{t.VA, 1, -t.AU, -t.AV, -t.VB, -1, t.BU, t.BV}, r, w/toneAlike/(1+float64(r*r)*w/wide))
	}
	zero, rim := commonSky(q.bare, q.first), 4*len(q.lv)
	for _, b := range q.bare {
		at := q.unknowns(b.Panel)
		for _, p := range q.sky[b.Panel] {
			r, h := q.shows(b.Panel, p.Value, p.U, p.V)-zero-q.halo.at(p.Out), q.halo.terms(p.Out)
			// The sky's own level stands for the place's value: to what the sky's places differ by no factor is to be fitted.
			eq.Add([]int{at[0], at[1], at[2], at[3], rim, rim + 1, rim + 2},
				[]float64{b.Value, 1, -p.U, -p.V, -h[0], -h[1], -h[2]}, r, skyWeight/toneAlike/(1+float64(r*r)*skyWeight/wide))
		}
	}
	spread := haloSpread
	if q.noHalo {
		spread = 1e-6
	}
	for k, h := range q.halo {
		eq.Add([]int{rim + k}, []float64{1}, h, 1/(spread*spread))
	}
	anchorLevels(eq, q.lv, q.first, q.in)
	for i, g := range q.g {
		at := q.unknowns(i)
		eq.Add(at[2:3], []float64{1}, g.U, 1/(glowSpread*glowSpread))
		eq.Add(at[3:], []float64{1}, g.V, 1/(glowSpread*glowSpread))
	}
	return eq
}

// weigh brings the ties' weights to what the places are off in truth: thought were they to be off by what sharpness and dark corners do at the
// most, and glows are finer.
func (q *glowing) weigh() {
	off := make([]float64, len(q.ties))
	for k, t := range q.ties {
		off[k] = math.Abs(q.shows(t.A, t.VA, t.AU, t.AV)-q.shows(t.B, t.VB, t.BU, t.BV)) * math.Sqrt(q.weight[k])
	}
	if len(off) == 0 {
		return
	}
	sigma := max(robust.MADToSigma*robust.Median(off), leastOff)
	for k := range q.weight {
		q.weight[k] /= sigma * sigma
	}
}

// move takes a step, and returns the largest part of it.
func (q *glowing) move(step []float64) float64 {
	most := 0.0
	for _, s := range step {
		most = max(most, math.Abs(s))
	}
	for i := range q.lv {
		at := q.unknowns(i)
		q.lv[i].Factor = max(q.lv[i].Factor+step[at[0]], q.lv[i].Factor/4)
		q.lv[i].Offset += step[at[1]]
		q.g[i].U += step[at[2]]
		q.g[i].V += step[at[3]]
	}
	for k := range q.halo {
		q.halo[k] += step[4*len(q.lv)+k]
	}
	return most
}

// strength is the rms of the placed panels' glows from their middles to their corners, and what chance makes of it where there is none: with
// the inverse V of the equations and the glows' prior weight p, glows of zero come out with the covariance V − p·V·V, so that where the
// prior says most, neither chance nor glow shows.
func (q *glowing) strength(eq *solve.Normal) (strength, unsure float64, err error) {
	vary, err := solve.Inverse(eq.A, eq.N)
	if err != nil {
		return 0, 0, err
	}
	n := 0.0
	for i, g := range q.g {
		if !q.in[i] {
			continue
		}
		n++
		strength += float64(g.U*g.U) + float64(g.V*g.V)
		at := q.unknowns(i)
		for _, k := range at[2:] {
			row, held := vary[k*eq.N:][:eq.N], 0.0
			for _, v := range row[2*len(q.lv) : 4*len(q.lv)] {
				held += float64(v * v)
			}
			unsure += row[k] - held/(glowSpread*glowSpread)
		}
	}
	return math.Sqrt(strength / max(n, 1)), math.Sqrt(max(unsure, 0) / max(n, 1)), nil
}
