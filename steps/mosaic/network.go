package mosaic

import (
	"cmp"
	"math"
	"slices"

	"plenilune/steps/kernel/solve"
)

// tie is one place seen in two panels. Info is the inverse covariance of the
// difference, in mosaic axes: xx, xy, yy in px⁻².
type tie struct {
	A, B           int
	AX, AY, BX, BY float64
	Info           [3]float64
	Points         bool // of points that look alike, not of a window
}

// rim is a point of the lit limb seen in one panel, with the standard deviation
// of its distance from the circle in pixels.
type rim struct {
	Panel int
	X, Y  float64
	Sigma float64
}

// circle is the Moon's limb in the mosaic.
type circle struct {
	Found   bool
	X, Y, R float64
}

// network holds everything that the placements must agree with.
type network struct {
	w, h  []int
	poses []pose
	in    []bool // placed: the others take no part
	ties  []tie
	links []link // that placed the panels
	// overlaps are those whose windows gave the ties, by their panels.
	overlaps map[[2]int]measured
	rims     []rim
	limb     circle
	arc      float64 // degrees of the limb that findLimb saw
	drift    drift
	// hinted are the panels that only a hint placed.
	hinted map[int]aim
	// sphere is what is known of the Moon's turn, if anything is; compass, only while it is looked for.
	sphere  *sphere
	compass *compass
	cost    float64 // of the last solution
	odd     []oddClock
}

const (
	scaleSigma = 0.0005 // prior of a panel's scale about one
	tolerance  = 3.0    // standard deviations beyond which a tie loses its say
)

// maps returns each placed panel's map to the mosaic.
func (n *network) maps() []similarity {
	m := make([]similarity, len(n.poses))
	for i, p := range n.poses {
		m[i] = p.of(n.w[i], n.h[i])
	}
	return m
}

// settle brings all placements and the limb to the robust least-squares
// solution: Gauss–Newton with Cauchy weights, the anchor held where it is.
func (n *network) settle(anchor, rounds int) error {
	for round := range rounds {
		eq := n.equations(anchor, float64(1+max(0, 4-2*round)))
		n.cost = eq.Cost
		step, err := eq.Solve()
		if err != nil {
			return err
		}
		most := n.move(step)
		if most < 1e-5 {
			break
		}
	}
	return nil
}

// equations are the normal equations at the placements as they are; widen is how much looser than at the end the smooth course
// of turn and scale holds.
func (n *network) equations(anchor int, widen float64) *solve.Normal {
	unknowns := 4*len(n.poses) + 3 + driftUnknowns
	if n.compass != nil {
		unknowns += compassUnknowns
	}
	eq := solve.NewNormal(unknowns)
	m := n.maps()
	for _, t := range n.ties {
		if n.in[t.A] && n.in[t.B] {
			n.addTie(eq, m, t)
		}
	}
	if n.limb.Found {
		for _, r := range n.rims {
			if n.in[r.Panel] {
				n.addRim(eq, m, r)
			}
		}
	}
	n.addPriors(eq, anchor)
	n.drift.add(eq, 4*len(n.poses)+3, n, widen)
	if n.compass != nil {
		n.compass.add(eq)
	}
	return eq
}

func (n *network) move(step []float64) (most float64) {
	for i := range n.poses {
		p := &n.poses[i]
		p.X += step[4*i]
		p.Y += step[4*i+1]
		p.Turn = wrap(p.Turn + step[4*i+2])
		p.Scale *= 1 + min(max(step[4*i+3], -0.02), 0.02)
		most = max(most, math.Abs(step[4*i]), math.Abs(step[4*i+1]), math.Abs(step[4*i+2])*100, math.Abs(step[4*i+3])*100)
	}
	k := 4 * len(n.poses)
	n.limb.X += step[k]
	n.limb.Y += step[k+1]
	n.limb.R += step[k+2]
	n.drift.move(step[k+3:])
	if n.compass != nil {
		n.compass.move(step[k+3+driftUnknowns:])
	}
	return most
}

func (n *network) addPriors(eq *solve.Normal, anchor int) {
	for i, p := range n.poses {
		if a, ok := n.hinted[i]; ok && n.in[i] {
			w := 1 / (hintSigma * hintSigma * a.arcmin * a.arcmin)
			eq.Add([]int{4 * i}, []float64{1}, p.X-a.pose.X, w)
			eq.Add([]int{4*i + 1}, []float64{1}, p.Y-a.pose.Y, w)
			eq.Add([]int{4*i + 2}, []float64{1}, wrap(p.Turn-a.pose.Turn), 1/(hintTurnSigma*hintTurnSigma))
		}
		eq.Add([]int{4*i + 3}, []float64{1}, p.Scale-n.drift.scaleOf(i), 1/(scaleSigma*scaleSigma))
		loose := 1e-9 // keeps a panel without ties solvable, pulls nobody
		if i == anchor || !n.in[i] {
			loose = 1e6
		}
		for k := range 3 {
			eq.Add([]int{4*i + k}, []float64{1}, 0, loose)
		}
	}
	for k := range 3 {
		eq.Add([]int{4*len(n.poses) + k}, []float64{1}, 0, 1e-9)
	}
}

// residual returns where B shows the place minus where A does.
func (t tie) residual(m []similarity) (x, y float64) {
	ax, ay := m[t.A].at(t.AX, t.AY)
	bx, by := m[t.B].at(t.BX, t.BY)
	return bx - ax, by - ay
}

// strain is a tie's residual in standard deviations, squared.
func (t tie) strain(x, y float64) float64 {
	return float64(t.Info[0]*x*x) + float64(2*t.Info[1]*x*y) + float64(t.Info[2]*y*y)
}

func cauchy(strain float64) float64 { return 1 / (1 + strain/(tolerance*tolerance)) }

func (n *network) addTie(eq *solve.Normal, m []similarity, t tie) {
	ax, ay := m[t.A].at(t.AX, t.AY)
	bx, by := m[t.B].at(t.BX, t.BY)
	rx, ry := bx-ax, by-ay
	at := []int{4 * t.A, 4*t.A + 1, 4*t.A + 2, 4*t.A + 3, 4 * t.B, 4*t.B + 1, 4*t.B + 2, 4*t.B + 3}
	var swing [4]float64
	if c := n.compass; c != nil {
		swing = c.between(n.limb, t, ax, ay, bx, by)
		rx += float64(c.cos*swing[0]) + float64(c.sin*swing[2])
		ry += float64(c.cos*swing[1]) + float64(c.sin*swing[3])
		k := eq.N - compassUnknowns
		at = append(at, k, k+1)
	}
	weight := cauchy(t.strain(rx, ry))
	// L with LᵀL = Info turns one 2-D residual into two of unit deviation.
	l00 := math.Sqrt(t.Info[0])
	l01 := t.Info[1] / l00
	l11 := math.Sqrt(max(0, t.Info[2]-float64(l01*l01)))
	ax, ay, bx, by = ax-n.poses[t.A].X, ay-n.poses[t.A].Y, bx-n.poses[t.B].X, by-n.poses[t.B].Y
	dx := [10]float64{-1, 0, ay, -ax, 1, 0, -by, bx, swing[0], swing[2]}
	dy := [10]float64{0, -1, -ax, -ay, 0, 1, bx, by, swing[1], swing[3]}
	s := make([]float64, len(at))
	for k := range s {
		s[k] = float64(l00*dx[k]) + float64(l01*dy[k])
	}
	eq.Add(at, s, float64(l00*rx)+float64(l01*ry), weight)
	for k := range s {
		s[k] = l11 * dy[k]
	}
	eq.Add(at, s, l11*ry, weight)
}

func (n *network) addRim(eq *solve.Normal, m []similarity, r rim) {
	x, y := m[r.Panel].at(r.X, r.Y)
	dx, dy := x-n.limb.X, y-n.limb.Y
	d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
	if d == 0 {
		return
	}
	nx, ny := dx/d, dy/d
	ux, uy := x-n.poses[r.Panel].X, y-n.poses[r.Panel].Y
	k, c := 4*r.Panel, 4*len(n.poses)
	at := []int{k, k + 1, k + 2, k + 3, c, c + 1, c + 2}
	s := []float64{nx, ny, float64(ny*ux) - float64(nx*uy), float64(nx*ux) + float64(ny*uy), -nx, -ny, -1}
	res := d - n.limb.R
	w := 1 / (r.Sigma * r.Sigma)
	eq.Add(at, s, res, w*cauchy(res*res*w))
}

// link is what matching found between two panels.
type link struct {
	A, B int
	Map  similarity
	Pts  []pointPair
	NCC  float64

	sigma float64     // how far a point may be off, px of the panels
	taken []pointPair // as the panels were taken, if Pts are carried
}

func (l link) score() float64 { return float64(float64(len(l.Pts)) * max(l.NCC, 0.05)) }

// groups tells for each panel the smallest index of those it hangs together with.
func groups(n int, links []link) []int {
	of := make([]int, n)
	for i := range of {
		of[i] = i
	}
	root := func(i int) int {
		for of[i] != i {
			i = of[i]
		}
		return i
	}
	for _, l := range links {
		a, b := root(l.A), root(l.B)
		of[max(a, b)] = min(a, b)
	}
	for i := range of {
		of[i] = root(i)
	}
	return of
}

// largest returns the group with most panels, of equals the one that shows most, and the first of equals in that. What a
// panel shows is any measure of it; those that show nothing do not count.
func largest(of []int, shows func(i int) int) int {
	count, sum := make([]int, len(of)), make([]int, len(of))
	best := 0
	for i, g := range of {
		if s := shows(i); s > 0 {
			count[g]++
			sum[g] += s
		}
	}
	for g := range count {
		if count[g] > count[best] || count[g] == count[best] && sum[g] > sum[best] {
			best = g
		}
	}
	return best
}

// chain gives the panels of one group first poses along the strongest links
// (a maximum spanning tree), the member with the strongest links in the middle.
func (n *network) chain(links []link, of []int, group int) (anchor int) {
	strength := make([]float64, len(n.poses))
	for _, l := range links {
		strength[l.A] += l.score()
		strength[l.B] += l.score()
	}
	anchor = -1
	for i, g := range of {
		if g == group && (anchor < 0 || strength[i] > strength[anchor]) {
			anchor = i
		}
	}
	order := slices.Clone(links)
	slices.SortStableFunc(order, func(a, b link) int { return cmp.Compare(b.score(), a.score()) })
	n.in[anchor] = true
	n.poses[anchor] = pose{Scale: 1}
	for grown := true; grown; {
		grown = false
		for _, l := range order {
			if n.in[l.A] == n.in[l.B] {
				continue
			}
			from, to, m := l.A, l.B, l.Map.inverse() // to's pixels into from's
			if !n.in[from] {
				from, to, m = l.B, l.A, l.Map
			}
			s := n.poses[from].of(n.w[from], n.h[from]).after(m)
			n.poses[to] = poseOf(s, n.w[to], n.h[to])
			n.poses[to].Scale = 1
			n.in[to] = true
			grown = true
			break
		}
	}
	return anchor
}
