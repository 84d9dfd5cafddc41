package stacks

import "math"

// relax finds, to within about rest pixels, the displacements that satisfy the nodes' equations, each as far as
// its detail and its noise let it be trusted, and are smooth: neighbours move alike
// (alignStiff), and what nothing holds stays with the whole frame (alignAnchor).
// Where there is an edge only, only the motion across it is taken from it; where
// there is nothing, neighbours decide (Bruhn, Weickert & Schnörr 2005, on a grid).
func (a *aligner) relax(gain, rest float64) {
	g := a.t.g
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
		for range alignSweeps {
			var most float64
			for j := range g.NY {
				for i := range g.NX {
					most = max(most, a.settle(i, j, gain, u0x, u0y))
				}
			}
			if most < rest {
				break
			}
		}
	}
}

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

// settle solves one node with its neighbours held, goes somewhat further (successive over-relaxation, Young 1954), and
// returns how far.
func (a *aligner) settle(i, j int, gain float64, u0x, u0y []float64) float64 {
	g := a.t.g
	k := j*g.NX + i
	n := &a.nodes[k]
	var sx, sy, m float64
	near := func(k int) {
		sx += a.ux[k]
		sy += a.uy[k]
		m++
	}
	if i > 0 {
		near(k - 1)
	}
	if i < g.NX-1 {
		near(k + 1)
	}
	if j > 0 {
		near(k - g.NX)
	}
	if j < g.NY-1 {
		near(k + g.NX)
	}
	w := n.weight
	// resampled by u0, D ≈ −gain·∇T·(u − u0)
	xx, xy, yy := float64(w*n.XX), float64(w*n.XY), float64(w*n.YY)
	bx := float64(xx*u0x[k]) + float64(xy*u0y[k]) - float64(w*n.bx)/gain
	by := float64(xy*u0x[k]) + float64(yy*u0y[k]) - float64(w*n.by)/gain
	soft := float64(alignStiff*m) + alignAnchor
	xx, yy = xx+soft, yy+soft
	bx += float64(alignStiff * sx)
	by += float64(alignStiff * sy)
	det := float64(xx*yy) - float64(xy*xy)
	dx := float64(alignOver * ((float64(yy*bx)-float64(xy*by))/det - a.ux[k]))
	dy := float64(alignOver * ((float64(xx*by)-float64(xy*bx))/det - a.uy[k]))
	a.ux[k] += dx
	a.uy[k] += dy
	return max(math.Abs(dx), math.Abs(dy))
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
