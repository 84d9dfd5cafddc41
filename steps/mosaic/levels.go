package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
)

// level corrects a panel's brightness: Factor·value + Offset.
type level struct{ Factor, Offset float64 }

// toneTie is the mean brightness of one place in two panels, with its weight.
type toneTie struct {
	A, B   int
	VA, VB float64
	Weight float64
}

// toneTies compares two panels over blocks of side pixels where they overlap. Both are drawn
// softly, so that small misplacement does not matter, and blocks with steep brightness count less.
func toneTies(a, b int, p, q panel, mp, mq similarity, side int) []toneTie {
	ax0, ay0, ax1, ay1 := bounds(mp, p.w, p.h)
	bx0, by0, bx1, by1 := bounds(mq, q.w, q.h)
	x0, y0, x1, y1 := max(ax0, bx0), max(ay0, by0), min(ax1, bx1), min(ay1, by1)
	ip, iq := mp.inverse(), mq.inverse()
	var out []toneTie
	for by := int(math.Floor(y0 / float64(side))); float64(by*side) < y1; by++ {
		for bx := int(math.Floor(x0 / float64(side))); float64(bx*side) < x1; bx++ {
			var n, sa, sb, saa float64
			for j := range side {
				for i := range side {
					x, y := float64(bx*side+i), float64(by*side+j)
					u, ok := p.linear(ip.at(x, y))
					if !ok {
						continue
					}
					v, ok := q.linear(iq.at(x, y))
					if !ok {
						continue
					}
					n++
					sa += u
					sb += v
					saa += float64(u * u)
				}
			}
			if n < 0.75*float64(side*side) {
				continue
			}
			u, v := sa/n, sb/n
			vary := max(0, saa/n-float64(u*u))
			sigma := 0.002 + float64(0.01*math.Abs(u)) + float64(0.15*math.Sqrt(vary))
			out = append(out, toneTie{a, b, u, v, 1 / (sigma * sigma)})
		}
	}
	return out
}

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
	lv := make([]level, n)
	for i := range lv {
		lv[i] = level{Factor: 1}
	}
	zero := 0.0
	if len(sky) > 0 {
		var w, s float64
		for _, b := range sky {
			w += b.Places
			s += float64(b.Places * b.Value)
		}
		zero = s / w
	}
	for range 12 {
		eq := solve.NewNormal(2 * n)
		for _, t := range ties {
			fa, fb := lv[t.A], lv[t.B]
			r := float64(fa.Factor*t.VA) + fa.Offset - float64(fb.Factor*t.VB) - fb.Offset
			w := t.Weight / (1 + r*r*t.Weight/9)
			eq.Add([]int{2 * t.A, 2*t.A + 1, 2 * t.B, 2*t.B + 1}, []float64{t.VA, 1, -t.VB, -1}, r, w)
		}
		for _, b := range sky {
			l := lv[b.Panel]
			r := float64(l.Factor*b.Value) + l.Offset - zero
			w := skyWeight * b.Places / (1 + r*r*skyWeight/9)
			eq.Add([]int{2 * b.Panel, 2*b.Panel + 1}, []float64{b.Value, 1}, r, w)
		}
		var all []int
		var slopes []float64
		product := 0.0
		for i := range n {
			eq.Add([]int{2 * i}, []float64{1}, lv[i].Factor-1, 1)
			eq.Add([]int{2*i + 1}, []float64{1}, lv[i].Offset, 1)
			if in[i] {
				all, slopes = append(all, 2*i), append(slopes, 1/lv[i].Factor)
				product += portable.Log(lv[i].Factor)
			}
		}
		if len(all) > 0 {
			eq.Add(all, slopes, product, 1e9)
		}
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

// skyOf returns the level of bare sky in a panel, that of the middle one of the places well outside the limb; nil if
// there is none.
func skyOf(i int, p panel, m similarity, c circle) []skyLevel {
	const side = 16
	var places []float64
	for by := 0; by+side <= p.h; by += side {
		for bx := 0; bx+side <= p.w; bx += side {
			x, y := m.at(float64(bx)+side/2, float64(by)+side/2)
			dx, dy := x-c.X, y-c.Y
			if math.Sqrt(float64(dx*dx)+float64(dy*dy)) < float64(1.03*c.R)+side {
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
				places = append(places, s/n)
			}
		}
	}
	if len(places) == 0 {
		return nil
	}
	return []skyLevel{{i, robust.Median(places), float64(len(places))}}
}
