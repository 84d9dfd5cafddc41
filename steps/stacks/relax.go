package stacks

import "math"

// relax finds, to within about rest pixels, the displacements that satisfy the nodes' equations, each as far as
// its detail and its noise let it be trusted, and are smooth: neighbours move alike
// (alignStiff), and what nothing holds stays with the whole frame (alignAnchor).
// Where there is an edge only, only the motion across it is taken from it; where
// there is nothing, neighbours decide (Bruhn, Weickert & Schnörr 2005, on a grid).
func (a *aligner) relax(gain, rest float64) {
	u0x := append([]float64(nil), a.ux...)
	u0y := append([]float64(nil), a.uy...)
	floor := a.noiseFloor()
	for pass := range 2 {
		for i := range a.nodes {
			n := &a.nodes[i]
			n.weight = 0
			if n.N < nodeStep { // a few pixels at a border
				continue
			}
			n.weight = gain * gain / (alignCorr * (n.dd/n.N + floor))
			if pass > 0 {
				n.weight *= n.agreement(gain, a.ux[i]-u0x[i], a.uy[i]-u0y[i])
			}
		}
		a.prepare(gain, u0x, u0y)
		still := rest
		if pass == 0 { // it only finds out who disagrees
			still *= 4
		}
		for range alignSweeps {
			if a.sweep() < still {
				break
			}
		}
	}
}

// prepare solves each node's equations but for its neighbours, which alone change from sweep to sweep: resampled by
// u0, D ≈ −gain·∇T·(u − u0).
func (a *aligner) prepare(gain float64, u0x, u0y []float64) {
	g := a.t.g
	for j := range g.NY {
		for i := range g.NX {
			k := j*g.NX + i
			n := &a.nodes[k]
			w := n.weight
			xx, xy, yy := float64(w*n.XX), float64(w*n.XY), float64(w*n.YY)
			bx := float64(xx*u0x[k]) + float64(xy*u0y[k]) - float64(w*n.bx)/gain
			by := float64(xy*u0x[k]) + float64(yy*u0y[k]) - float64(w*n.by)/gain
			soft := float64(alignStiff*near(i, j, g)) + alignAnchor
			xx, yy = xx+soft, yy+soft
			det := float64(xx*yy) - float64(xy*xy)
			s := &a.solved[k]
			s.xx, s.xy, s.yy = yy/det, -xy/det, xx/det
			s.x = float64(s.xx*bx) + float64(s.xy*by)
			s.y = float64(s.xy*bx) + float64(s.yy*by)
			s.xx, s.xy, s.yy = float64(alignStiff*s.xx), float64(alignStiff*s.xy), float64(alignStiff*s.yy)
		}
	}
}

// near returns how many neighbours node (i, j) has.
func near(i, j int, g grid) float64 {
	n := 4.0
	if i == 0 || i == g.NX-1 {
		n--
	}
	if j == 0 || j == g.NY-1 {
		n--
	}
	return n
}

// solved is a node's displacement if its neighbours had none, and what the sum of theirs adds to it.
type solved struct{ x, y, xx, xy, yy float64 }

// noiseFloor is a part of the mean squared difference, so that a node that happens
// to agree is not taken for certain.
func (a *aligner) noiseFloor() float64 {
	var dd, n float64
	for i := range a.nodes {
		dd += a.nodes[i].dd
		n += a.nodes[i].N
	}
	return 0.1*dd/max(n, 1) + 1e-12
}

// sweep solves each node with its neighbours held, goes somewhat further (successive over-relaxation, Young 1954), and
// returns how far the one went that went furthest.
func (a *aligner) sweep() (most float64) {
	g := a.t.g
	row := func(u []float64, j int) []float64 {
		if j < 0 || j >= g.NY {
			return a.none
		}
		return u[j*g.NX:][:g.NX]
	}
	for j := range g.NY {
		s := a.solved[j*g.NX:][:g.NX]
		x, upX, dnX := row(a.ux, j)[:len(s)], row(a.ux, j-1)[:len(s)], row(a.ux, j+1)[:len(s)]
		y, upY, dnY := row(a.uy, j)[:len(s)], row(a.uy, j-1)[:len(s)], row(a.uy, j+1)[:len(s)]
		var leftX, leftY float64
		for i := range s {
			var rightX, rightY float64
			if i+1 < len(s) {
				rightX, rightY = x[i+1], y[i+1]
			}
			n := &s[i]
			sx, sy := leftX+rightX+upX[i]+dnX[i], leftY+rightY+upY[i]+dnY[i]
			dx := float64(alignOver * ((n.x + (float64(n.xx*sx) + float64(n.xy*sy))) - x[i]))
			dy := float64(alignOver * ((n.y + (float64(n.xy*sx) + float64(n.yy*sy))) - y[i]))
			leftX, leftY = x[i]+dx, y[i]+dy
			x[i], y[i] = leftX, leftY
			if d := math.Abs(dx); d > most {
				most = d
			}
			if d := math.Abs(dy); d > most {
				most = d
			}
		}
	}
	return most
}

// agreement is the weight of a node whose own wish lies away from the step that it
// and its neighbours took: its equations' residual in pixels (Geman & McClure).
func (n *node) agreement(gain, ux, uy float64) float64 {
	tr := n.XX + n.YY
	if tr <= 0 {
		return 0
	}
	ex := -n.bx/gain - float64(n.XX*ux) - float64(n.XY*uy)
	ey := -n.by/gain - float64(n.XY*ux) - float64(n.YY*uy)
	r := math.Sqrt(float64(ex*ex)+float64(ey*ey)) / (tr * alignOutlier)
	q := 1 + float64(r*r)
	return 1 / (q * q)
}
