package mosaic

import "math"

// bend is a smooth displacement over one panel: what the air bent while the panel was stacked. Pixel (x, y) is
// shown that much further, in mosaic axes and pixels. Values are coefficients of uniform cubic B-splines
// on a grid of Step pixels whose node (1, 1) lies on pixel (0, 0). The zero value bends nothing.
type bend struct {
	NX, NY int
	Step   float64
	DX, DY []float64
}

func newBend(w, h int, step float64) bend {
	nx, ny := max(4, int(math.Ceil(float64(w-1)/step))+3), max(4, int(math.Ceil(float64(h-1)/step))+3)
	return bend{nx, ny, step, make([]float64, nx*ny), make([]float64, nx*ny)}
}

// splineWeights returns the four weights of a uniform cubic B-spline at t = 0…1 between its
// second and third node.
func splineWeights(t float64) [4]float64 {
	u := 1 - t
	t2, u2 := float64(t*t), float64(u*u)
	return [4]float64{
		float64(u2*u) / 6,
		(float64(float64(3*t2)*t) - float64(6*t2) + 4) / 6,
		(float64(float64(3*u2)*u) - float64(6*u2) + 4) / 6,
		float64(t2*t) / 6,
	}
}

// taps returns the nodes that a pixel depends on and their weights.
func (b bend) taps(x, y float64) (at [16]int, w [16]float64) {
	gx, gy := x/b.Step, y/b.Step
	ix := min(max(int(math.Floor(gx)), 0), b.NX-4)
	iy := min(max(int(math.Floor(gy)), 0), b.NY-4)
	wx := splineWeights(min(max(gx-float64(ix), 0), 1))
	wy := splineWeights(min(max(gy-float64(iy), 0), 1))
	for j := range 4 {
		for i := range 4 {
			at[4*j+i] = (iy+j)*b.NX + ix + i
			w[4*j+i] = wy[j] * wx[i]
		}
	}
	return at, w
}

// at returns the displacement of a pixel.
func (b bend) at(x, y float64) (dx, dy float64) {
	if b.NX == 0 {
		return 0, 0
	}
	at, w := b.taps(x, y)
	for k, i := range at {
		dx += float64(w[k] * b.DX[i])
		dy += float64(w[k] * b.DY[i])
	}
	return dx, dy
}

// bendTerm is one measured displacement: along (NX, NY), the bend of B's pixel minus that of A's should be
// Value. A may be absent (−1).
type bendTerm struct {
	a, b     int
	ta, tb   [16]int
	wa, wb   [16]float64
	nx, ny   float64
	value    float64
	variance float64
	weight   float64
}

// The prior of a bend's coefficients: how large they are and how much neighbours differ, in pixels. With these a
// bend forgets itself over about one and a half nodes, like the air's.
const (
	bendSize  = 0.5
	bendSlope = 0.4
	bendStep  = 40 // pixels between nodes
	bendNoise = 0.04
)

// bendStepOf returns the pixels between the nodes of a panel's bend: a large panel, whose field is wide, needs no more of
// them.
func bendStepOf(w, h int) float64 { return max(bendStep, float64(max(w, h))/20) }

// bendPanels finds the smooth bend of every panel that explains what the overlaps and the limb still show: the most likely one
// under a prior of small and smooth bends, so that two panels that disagree meet half-way and
// the bend fades where nothing is measured.
func (n *network) bendPanels() []bend {
	bends := make([]bend, len(n.poses))
	for i := range bends {
		if n.in[i] {
			bends[i] = newBend(n.w[i], n.h[i], bendStepOf(n.w[i], n.h[i]))
		}
	}
	terms := n.bendTerms(bends)
	for round := range 3 {
		if round > 0 {
			for k := range terms {
				t := &terms[k]
				t.weight = t.robust(bends)
			}
		}
		solveBends(bends, terms)
	}
	return bends
}

func (t *bendTerm) robust(bends []bend) float64 {
	r := t.apply(bends) - t.value
	return 1 / (t.variance + float64(r*r/4))
}

// apply returns the term's displacement under the given bends.
func (t *bendTerm) apply(bends []bend) float64 {
	s := 0.0
	for k := range 16 {
		s += float64(t.wb[k] * (float64(t.nx*bends[t.b].DX[t.tb[k]]) + float64(t.ny*bends[t.b].DY[t.tb[k]])))
		if t.a >= 0 {
			s -= float64(t.wa[k] * (float64(t.nx*bends[t.a].DX[t.ta[k]]) + float64(t.ny*bends[t.a].DY[t.ta[k]])))
		}
	}
	return s
}

// spread adds v times the term's gradient.
func (t *bendTerm) spread(into []bend, v float64) {
	vx, vy := v*t.nx, v*t.ny
	for k := range 16 {
		b := into[t.b]
		b.DX[t.tb[k]] += float64(t.wb[k] * vx)
		b.DY[t.tb[k]] += float64(t.wb[k] * vy)
		if t.a >= 0 {
			a := into[t.a]
			a.DX[t.ta[k]] -= float64(t.wa[k] * vx)
			a.DY[t.ta[k]] -= float64(t.wa[k] * vy)
		}
	}
}

// bendTerms turns ties and rims into terms: a tie gives two, along the directions in which it is known best
// and worst.
func (n *network) bendTerms(bends []bend) []bendTerm {
	m := n.maps()
	var out []bendTerm
	add := func(t bendTerm, variance float64) {
		t.variance, t.weight = variance, 1/variance
		out = append(out, t)
	}
	for _, t := range n.ties {
		if !n.in[t.A] || !n.in[t.B] {
			continue
		}
		rx, ry := t.residual(m)
		strain := t.strain(rx, ry)
		if strain > 16 {
			continue // a mismatch, not a bend
		}
		base := bendTerm{a: t.A, b: t.B}
		base.ta, base.wa = bends[t.A].taps(t.AX, t.AY)
		base.tb, base.wb = bends[t.B].taps(t.BX, t.BY)
		// Eigenvectors of the inverse covariance, in closed form.
		d, o := float64((t.Info[0]-t.Info[2])/2), t.Info[1]
		mean, root := float64((t.Info[0]+t.Info[2])/2), math.Sqrt(float64(d*d)+float64(o*o))
		ex, ey := 1.0, 0.0
		if root > 1e-9*mean {
			ex, ey = d+root, o
			if d < 0 {
				ex, ey = o, root-d
			}
			l := math.Sqrt(float64(ex*ex) + float64(ey*ey))
			ex, ey = ex/l, ey/l
		}
		for k, info := range [2]float64{mean + root, mean - root} {
			u := base
			u.nx, u.ny = ex, ey
			if k == 1 {
				u.nx, u.ny = -ey, ex
			}
			u.value = -(float64(u.nx*rx) + float64(u.ny*ry))
			noise := max(0, 1/max(info, 1e-9)-2*panelBend*panelBend)
			add(u, bendNoise*bendNoise+noise)
		}
	}
	for _, r := range n.rims {
		if !n.in[r.Panel] || !n.limb.Found {
			continue
		}
		x, y := m[r.Panel].at(r.X, r.Y)
		dx, dy := x-n.limb.X, y-n.limb.Y
		d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
		if off := d - n.limb.R; math.Abs(off) < 4*r.Sigma {
			t := bendTerm{a: -1, b: r.Panel, nx: dx / d, ny: dy / d, value: -off}
			t.tb, t.wb = bends[r.Panel].taps(r.X, r.Y)
			add(t, 2*bendNoise*bendNoise+n.reliefVariance())
		}
	}
	return out
}

// reliefVariance is that which the limb's own relief, no panel's fault, adds to each rim: all rims on one mountain are
// lifted together, so that together they must say no more than one.
func (n *network) reliefVariance() float64 {
	relief := float64(limbRelief * n.limb.R)
	return float64(float64(relief*relief) * max(1, reliefReach*n.limb.R/rimStep))
}
