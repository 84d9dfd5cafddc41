package mosaic

import (
	"math"

	"plenilune/steps/kernel/solve"
)

const (
	// falloffTies is how many places are compared at the most: five unknowns need no more.
	falloffTies = 20_000
	// roundSpread and tiltSpread are how strong the round terms and the ellipse are thought to be, one standard deviation.
	roundSpread = 0.3
	tiltSpread  = 0.02
	// pedestalSpread is how far from zero no light is thought to be, in units of white.
	pedestalSpread = 0.05
	// leastFalloff is the rms over the sensor below which nothing would be seen of a falloff; and below falloffSure times its
	// uncertainty there may be none.
	leastFalloff = 0.002
	// falloffOverlaps is how many overlaps it takes to tell how far they disagree about five terms.
	falloffOverlaps = 8
	falloffSure     = 4
)

// levelling is the state of a solution for levels and falloff together.
type levelling struct {
	n      int
	has    []bool // which panels have the falloff
	lv     []level
	f      falloff
	ties   []toneTie
	weight []float64
	count  float64 // how many ties say as much as one that errs alone
}

// findFalloff solves for all panels' levels and for what the sensor's falloff adds, at once and robustly, from levels
// found without. It returns the falloff and the uncertainty of its rms over the sensor; it is not Found where it does not
// stand out of that, and both are zero where overlaps are too few to tell.
func findFalloff(s shown, has []bool, lv []level) (falloff, float64, error) {
	q := levelling{n: len(lv), has: has, lv: append([]level(nil), lv...), f: falloff{Found: true, Mean: 1}, count: 1}
	first := make([]float64, q.n)
	for i, l := range lv {
		first[i] = l.Factor
	}
	for k := 0; k < len(s.ties); k += 1 + len(s.ties)/falloffTies {
		t := s.ties[k]
		d := max(first[t.A]*t.SA, first[t.B]*t.SB)
		q.ties, q.weight = append(q.ties, t), append(q.weight, 1/(d*d))
	}
	if q.overlaps() < falloffOverlaps {
		return falloff{}, 0, nil
	}
	// Neighbouring places err together: how much less they say than they seem to shows only when all is solved, and then
	// the priors must count by so much more.
	var vary [falloffTerms][falloffTerms]float64
	for range 2 {
		eq, err := q.settle(s.in, first, s.sky)
		if err != nil {
			return falloff{}, 0, err
		}
		if vary, err = q.covariance(eq); err != nil {
			return falloff{}, 0, err
		}
	}
	q.f.normalise()
	strength, unsure := q.f.strength(vary)
	q.f.Found = strength > max(leastFalloff, falloffSure*unsure)
	if !q.f.Found {
		return falloff{}, unsure, nil
	}
	return q.f, unsure, nil
}

// settle solves for all, and returns the last equations.
func (q *levelling) settle(in []bool, first []float64, sky [][]skyPlace) (*solve.Normal, error) {
	const rounds = 40
	var eq *solve.Normal
	for round := range rounds {
		// At first all that the falloff makes of the ties must be taken in earnest.
		eq = q.equations(in, first, sky, float64(9*max(1, 16-2*round)))
		step, err := eq.Solve()
		if err != nil {
			return nil, err
		}
		if most := q.move(step); most < 1e-8 && round > 8 {
			break
		}
	}
	return eq, nil
}

// overlaps counts the pairs of panels that are compared.
func (q *levelling) overlaps() (n int) {
	for k, t := range q.ties {
		if k == 0 || t.A != q.ties[k-1].A || t.B != q.ties[k-1].B {
			n++
		}
	}
	return n
}

// unknowns are the indices that a tie touches: the levels of its panels, and the falloff.
func (q *levelling) unknowns(t toneTie) (at [4 + falloffTerms]int) {
	at = [4 + falloffTerms]int{2 * t.A, 2*t.A + 1, 2 * t.B, 2*t.B + 1}
	for k := range falloffTerms {
		at[4+k] = 2*q.n + k
	}
	return at
}

// residual is what is left between two panels at a place, with its derivatives.
func (q *levelling) residual(t toneTie) (r float64, slope [4 + falloffTerms]float64) {
	va, da := q.side(t.A, t.VA, t.AU, t.AV)
	vb, db := q.side(t.B, t.VB, t.BU, t.BV)
	a, b := q.lv[t.A], q.lv[t.B]
	slope[0], slope[1], slope[2], slope[3] = va, 1, -vb, -1
	for k := range da {
		slope[4+k] = float64(a.Factor*da[k]) - float64(b.Factor*db[k])
	}
	return float64(a.Factor*va) + a.Offset - float64(b.Factor*vb) - b.Offset, slope
}

// side evens one panel's value, and returns its derivatives by the falloff.
func (q *levelling) side(panel int, value, u, v float64) (even float64, by [falloffTerms]float64) {
	if !q.has[panel] {
		return value, by
	}
	s, shape := q.f.shape(u, v)
	lit := (value - q.f.Pedestal) / s
	for k, d := range shape {
		by[k] = -lit / s * d
	}
	by[falloffTerms-1] = 1 - 1/s
	return q.f.Pedestal + lit, by
}

// equations gathers those of the ties, the sky and the priors.
func (q *levelling) equations(in []bool, first []float64, sky [][]skyPlace, wide float64) *solve.Normal {
	eq := solve.NewNormal(2*q.n + falloffTerms)
	for k, t := range q.ties {
		r, slope := q.residual(t)
		at := q.unknowns(t)
		w := q.weight[k]
		eq.Add(at[:], slope[:], r, w/(1+float64(r*r)*w/wide))
	}
	bare := skyLevels(q.f.evenSky(sky, q.has))
	zero := commonSky(bare, first)
	for _, b := range bare {
		l := q.lv[b.Panel]
		r := float64(l.Factor*b.Value) + l.Offset - zero
		eq.Add([]int{2 * b.Panel, 2*b.Panel + 1}, []float64{b.Value, 1}, r, skyWeight*b.Places/(1+float64(r*r)*skyWeight/9))
	}
	anchorLevels(eq, q.lv, first, in)
	f := &q.f
	for k, p := range [falloffTerms][2]float64{{f.A, roundSpread}, {f.B, roundSpread}, {f.C, tiltSpread}, {f.D, tiltSpread},
		{f.Pedestal, pedestalSpread}} {
		eq.Add([]int{2*q.n + k}, []float64{1}, p[0], q.count/(p[1]*p[1]))
	}
	return eq
}

// move takes a step, and returns the largest part of it.
func (q *levelling) move(step []float64) float64 {
	most := 0.0
	for _, s := range step {
		most = max(most, math.Abs(s))
	}
	for i := range q.lv {
		q.lv[i].Factor = max(q.lv[i].Factor+step[2*i], q.lv[i].Factor/4)
		q.lv[i].Offset += step[2*i+1]
	}
	f, s := &q.f, step[2*q.n:]
	f.A, f.B, f.C, f.D, f.Pedestal = f.A+s[0], f.B+s[1], f.C+s[2], f.D+s[3], f.Pedestal+s[4]
	return most
}

// covariance, which also sets count, is that of the falloff's terms, from how the overlaps disagree about them: neighbouring places err
// together, overlaps do not (the clustered estimate of Liang & Zeger 1986, Biometrika 73:13).
func (q *levelling) covariance(eq *solve.Normal) ([falloffTerms][falloffTerms]float64, error) {
	var out [falloffTerms][falloffTerms]float64
	m := 2*q.n + falloffTerms
	inverse, err := solve.Inverse(eq.A, m)
	if err != nil {
		return out, err
	}
	for from := 0; from < len(q.ties); {
		pull := make([]float64, m) // of this overlap on all unknowns
		a, b := q.ties[from].A, q.ties[from].B
		for ; from < len(q.ties) && q.ties[from].A == a && q.ties[from].B == b; from++ {
			r, slope := q.residual(q.ties[from])
			w := q.weight[from]
			w /= 1 + float64(r*r)*w/9
			for k, at := range q.unknowns(q.ties[from]) {
				pull[at] += float64(w * r * slope[k])
			}
		}
		var moved [falloffTerms]float64
		for k := range moved {
			for i, p := range pull {
				moved[k] += float64(inverse[(2*q.n+k)*m+i] * p)
			}
		}
		for j := range moved {
			for k := range moved {
				out[j][k] += float64(moved[j] * moved[k])
			}
		}
	}
	few := float64(q.overlaps()) // each term takes an overlap's worth of disagreement away
	for j := range out {
		for k := range out[j] {
			out[j][k] *= few / (few - falloffTerms)
		}
	}
	var found, seems float64
	for k := range falloffTerms - 1 {
		found, seems = found+out[k][k], seems+inverse[(2*q.n+k)*m+2*q.n+k]
	}
	q.count *= max(1, found/seems)
	return out, nil
}

// strength is the rms of a falloff over the sensor, and what its terms' covariance gives it by chance.
func (f *falloff) strength(vary [falloffTerms][falloffTerms]float64) (strength, unsure float64) {
	var mean [falloffTerms - 1]float64
	n := 0.0
	overSensor(func(u, v float64) {
		_, by := f.shape(u, v)
		for k, d := range by {
			mean[k] += d
		}
		n++
	})
	var square, chance float64
	overSensor(func(u, v float64) {
		s, by := f.shape(u, v)
		d := s/f.Mean - 1
		square += float64(d * d)
		for j := range by {
			for k := range by {
				chance += float64((by[j] - mean[j]/n) * (by[k] - mean[k]/n) * vary[j][k])
			}
		}
	})
	return math.Sqrt(square / n), math.Sqrt(max(chance, 0)/n) / f.Mean
}
