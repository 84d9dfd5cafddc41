package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
)

// level corrects a panel's brightness: Factor·value + Offset.
type level struct{ Factor, Offset float64 }

// skyLevel is the brightness of a panel's bare sky. There is one a panel: the sky is of one level, and what its
// places differ by is noise, to which a factor would be fitted.
type skyLevel struct {
	Panel  int
	Value  float64
	Places float64 // how many say so
}

// skyWeight is that of one place: the square of 1 over 0.001 of white.
const skyWeight = 1e6

// matchLevels solves all factors and offsets at once, robustly. Factors have the geometric mean one;
// the sky, where seen, is brought to one level, that of the panels' weighted mean.
func matchLevels(n int, in []bool, ties []toneTie, sky []skyLevel) ([]level, error) {
	first, err := firstFactors(n, in, ties)
	if err != nil {
		return nil, err
	}
	lv := make([]level, n)
	for i := range lv {
		lv[i] = level{Factor: first[i]}
	}
	weights := make([]float64, len(ties))
	for k, t := range ties {
		s := max(first[t.A]*t.SA, first[t.B]*t.SB)
		weights[k] = 1 / (s * s)
	}
	zero := commonSky(sky, first)
	for range 12 {
		eq := solve.NewNormal(2 * n)
		for k, t := range ties {
			r := t.apart(lv)
			w := weights[k] / (1 + r*r*weights[k]/9)
			eq.Add([]int{2 * t.A, 2*t.A + 1, 2 * t.B, 2*t.B + 1}, []float64{t.VA, 1, -t.VB, -1}, r, w)
		}
		for _, b := range sky {
			l := lv[b.Panel]
			r := float64(l.Factor*b.Value) + l.Offset - zero
			w := skyWeight * b.Places / (1 + r*r*skyWeight/9)
			eq.Add([]int{2 * b.Panel, 2*b.Panel + 1}, []float64{b.Value, 1}, r, w)
		}
		anchorLevels(eq, lv, first, in)
		step, err := eq.Solve()
		if err != nil {
			return nil, err
		}
		most := 0.0
		for i := range lv {
			lv[i].Factor = max(lv[i].Factor+step[2*i], lv[i].Factor/4) // light has no sign
			lv[i].Offset += step[2*i+1]
			most = max(most, math.Abs(step[2*i]), math.Abs(step[2*i+1]))
		}
		if most < 1e-9 {
			break
		}
	}
	return lv, nil
}

// commonSky is the brightness to which the sky of all panels is brought.
func commonSky(sky []skyLevel, factors []float64) float64 {
	var seen, zero float64
	for _, b := range sky {
		seen += b.Places
		zero += float64(b.Places * factors[b.Panel] * b.Value)
	}
	return zero / max(seen, 1)
}

// anchorLevels holds panels of which no tie speaks near where they began, and the geometric mean of the factors at one.
func anchorLevels(eq *solve.Normal, lv []level, first []float64, in []bool) {
	var all []int
	var slopes []float64
	product := 0.0
	for i, l := range lv {
		eq.Add([]int{2 * i}, []float64{1}, l.Factor-first[i], 1)
		eq.Add([]int{2*i + 1}, []float64{1}, l.Offset, 1)
		if in[i] {
			all, slopes = append(all, 2*i), append(slopes, 1/l.Factor)
			product += portable.Log(l.Factor)
		}
	}
	if len(all) > 0 {
		eq.Add(all, slopes, product, 1e9)
	}
}

// apart is by how much two panels differ at a place after levelling.
func (t toneTie) apart(lv []level) float64 {
	a, b := lv[t.A], lv[t.B]
	return float64(a.Factor*t.VA) + a.Offset - float64(b.Factor*t.VB) - b.Offset
}

// firstFactors finds factors from pair to pair, by how far the middle eight tenths of what both see are spread: offsets
// do not matter to that, and exposures may be any factor apart. They settle the weights of what is solved after.
func firstFactors(n int, in []bool, ties []toneTie) ([]float64, error) {
	type ratio struct {
		a, b        int
		log, weight float64
	}
	var ratios []ratio
	for from := 0; from < len(ties); {
		a, b, to := ties[from].A, ties[from].B, from
		var va, vb, sa, sb []float64
		for ; to < len(ties) && ties[to].A == a && ties[to].B == b; to++ {
			t := ties[to]
			va, vb, sa, sb = append(va, t.VA), append(vb, t.VB), append(sa, t.SA), append(sb, t.SB)
		}
		from = to
		qa, qb := robust.Quantiles(va, 0.1, 0.9), robust.Quantiles(vb, 0.1, 0.9)
		da, db := qa[1]-qa[0], qb[1]-qb[0]
		if da <= 0 || db <= 0 {
			continue
		}
		ra, rb := robust.Median(sa)/da, robust.Median(sb)/db
		const pair = 0.02 // by which the two spreads of one ground differ, of a logarithm
		vary := pair*pair + (float64(ra*ra)+float64(rb*rb))/float64(len(va))
		ratios = append(ratios, ratio{a, b, portable.Log(db / da), 1 / vary})
	}
	logs := make([]float64, n)
	for range 8 {
		eq := solve.NewNormal(n)
		all, ones, total := []int(nil), []float64(nil), 0.0
		for i := range n {
			eq.Add([]int{i}, []float64{1}, logs[i], 1)
			if in[i] {
				all, ones, total = append(all, i), append(ones, 1), total+logs[i]
			}
		}
		for _, r := range ratios {
			// log f(a) − log f(b) is the logarithm of b's spread over a's.
			d := logs[r.a] - logs[r.b] - r.log
			eq.Add([]int{r.a, r.b}, []float64{1, -1}, d, r.weight/(1+float64(d*d)*r.weight/9))
		}
		if len(all) > 0 {
			eq.Add(all, ones, total, 1e9)
		}
		step, err := eq.Solve()
		if err != nil {
			return nil, err
		}
		for i := range logs {
			logs[i] += step[i]
		}
	}
	out := make([]float64, n)
	for i, l := range logs {
		out[i] = portable.Exp(l)
	}
	return out, nil
}

// skyPlace is the mean of a small square of bare sky, where it lies on the sensor, and how far outside the limb, in radii.
type skyPlace struct{ Value, U, V, Out float64 }

// skyPlaces returns the places of a panel that lie well outside the limb.
func skyPlaces(p panel, m mapping, c circle) []skyPlace {
	const side = 16
	var places []skyPlace
	for by := 0; by+side <= p.h; by += side {
		for bx := 0; bx+side <= p.w; bx += side {
			x, y := m.at(float64(bx)+side/2, float64(by)+side/2)
			dx, dy := x-c.X, y-c.Y
			d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
			if d < float64(1.03*c.R)+side {
				continue
			}
			var n, s float64
			for j := range side {
				for _, v := range p.v[(by+j)*p.w+bx : (by+j)*p.w+bx+side] {
					if v == v {
						n++
						s += float64(v)
					}
				}
			}
			if n >= side*side/2 {
				u, v := sensorPlace(float64(bx)+side/2, float64(by)+side/2, p.w, p.h)
				places = append(places, skyPlace{s / n, u, v, d/c.R - 1})
			}
		}
	}
	return places
}

// skyLevels returns the level of bare sky in each panel that shows some, that of the middle one of its places.
func skyLevels(places [][]skyPlace) (out []skyLevel) {
	for i, panel := range places {
		if len(panel) == 0 {
			continue
		}
		values := make([]float64, len(panel))
		for k, p := range panel {
			values[k] = p.Value
		}
		out = append(out, skyLevel{i, robust.Median(values), float64(len(values))})
	}
	return out
}
