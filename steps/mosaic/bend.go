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

// taps are the sixteen nodes that a pixel depends on: the number of the first, and the weights of their columns and rows.
type taps struct {
	first int
	x, y  [4]float64
}

// taps returns those of a pixel.
func (b bend) taps(x, y float64) taps {
	gx, gy := x/b.Step, y/b.Step
	ix := min(max(int(math.Floor(gx)), 0), b.NX-4)
	iy := min(max(int(math.Floor(gy)), 0), b.NY-4)
	return taps{
		first: iy*b.NX + ix,
		x:     splineWeights(min(max(gx-float64(ix), 0), 1)),
		y:     splineWeights(min(max(gy-float64(iy), 0), 1)),
	}
}

// at returns the displacement of a pixel.
func (b bend) at(x, y float64) (dx, dy float64) {
	if b.NX == 0 {
		return 0, 0
	}
	return b.under(b.taps(x, y))
}

// under returns the displacement that the nodes under taps give.
func (b bend) under(t taps) (dx, dy float64) {
	at := t.first
	for _, wy := range t.y {
		p, q := b.DX[at:at+4], b.DY[at:at+4]
		dx += float64(wy * (float64(t.x[0]*p[0]) + float64(t.x[1]*p[1]) + float64(t.x[2]*p[2]) + float64(t.x[3]*p[3])))
		dy += float64(wy * (float64(t.x[0]*q[0]) + float64(t.x[1]*q[1]) + float64(t.x[2]*q[2]) + float64(t.x[3]*q[3])))
		at += b.NX
	}
	return dx, dy
}

// lift adds a displacement to the nodes under taps, each by its weight.
func (b bend) lift(t taps, dx, dy float64) {
	at := t.first
	for _, wy := range t.y {
		p, q := b.DX[at:at+4], b.DY[at:at+4]
		vx, vy := wy*dx, wy*dy
		for i, wx := range t.x {
			p[i] += float64(wx * vx)
			q[i] += float64(wx * vy)
		}
		at += b.NX
	}
}

// bendTerm is one measured place: the bend of B's pixel minus that of A's, along each of one or two axes, should be so much. A
// may be absent (−1).
type bendTerm struct {
	a, b   int
	ta, tb taps
	axes   [2]bendAxis
}

// bendAxis is what is measured along (nx, ny). The zero value says nothing.
type bendAxis struct {
	nx, ny   float64
	value    float64
	variance float64
	weight   float64
}

// along is an axis measured with a variance.
func along(nx, ny, value, variance float64) bendAxis {
	return bendAxis{nx, ny, value, variance, 1 / variance}
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
				terms[k].judge(bends)
			}
		}
		solveBends(bends, terms)
	}
	return bends
}

// judge gives each axis the weight that it deserves under the bends.
func (t *bendTerm) judge(bends []bend) {
	x, y := t.apply(bends)
	for k := range t.axes {
		if a := &t.axes[k]; a.weight > 0 {
			r := float64(a.nx*x) + float64(a.ny*y) - a.value
			a.weight = 1 / (a.variance + float64(r*r/4))
		}
	}
}

// apply returns the term's displacement under the given bends.
func (t *bendTerm) apply(bends []bend) (x, y float64) {
	x, y = bends[t.b].under(t.tb)
	if t.a >= 0 {
		ax, ay := bends[t.a].under(t.ta)
		x, y = x-ax, y-ay
	}
	return x, y
}

// weighted is a displacement as the term's equations see it.
func (t *bendTerm) weighted(x, y float64) (vx, vy float64) {
	for _, a := range t.axes {
		v := a.weight * (float64(a.nx*x) + float64(a.ny*y))
		vx += float64(v * a.nx)
		vy += float64(v * a.ny)
	}
	return vx, vy
}

// asked is the term's share of the equations' right side.
func (t *bendTerm) asked() (vx, vy float64) {
	for _, a := range t.axes {
		v := a.weight * a.value
		vx += float64(v * a.nx)
		vy += float64(v * a.ny)
	}
	return vx, vy
}

// spread adds a displacement to the nodes that the term depends on.
func (t *bendTerm) spread(into []bend, vx, vy float64) {
	into[t.b].lift(t.tb, vx, vy)
	if t.a >= 0 {
		into[t.a].lift(t.ta, -vx, -vy)
	}
}

// bendTerms turns ties and rims into terms: a tie along the directions in which it is known best and worst, a rim across
// the limb.
func (n *network) bendTerms(bends []bend) []bendTerm {
	m := n.maps()
	out := make([]bendTerm, 0, len(n.ties)+len(n.rims))
	for _, t := range n.ties {
		if !n.in[t.A] || !n.in[t.B] || t.Points { // points of one overlap err together
			continue
		}
		rx, ry := t.residual(m)
		if t.strain(rx, ry) > 16 {
			continue // a mismatch, not a bend
		}
		term := bendTerm{a: t.A, b: t.B, ta: bends[t.A].taps(t.AX, t.AY), tb: bends[t.B].taps(t.BX, t.BY)}
		ex, ey, most, least := t.axes()
		for k, info := range [2]float64{most, least} {
			if k == 1 {
				ex, ey = -ey, ex
			}
			noise := max(0, 1/max(info, 1e-9)-2*panelBend*panelBend)
			term.axes[k] = along(ex, ey, -(float64(ex*rx) + float64(ey*ry)), bendNoise*bendNoise+noise)
		}
		out = append(out, term)
	}
	for _, r := range n.rims {
		if !n.in[r.Panel] || !n.limb.Found {
			continue
		}
		x, y := m[r.Panel].at(r.X, r.Y)
		dx, dy := x-n.limb.X, y-n.limb.Y
		d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
		if off := d - n.limb.R; math.Abs(off) < 4*r.Sigma {
			term := bendTerm{a: -1, b: r.Panel, tb: bends[r.Panel].taps(r.X, r.Y)}
			term.axes[0] = along(dx/d, dy/d, -off, 2*bendNoise*bendNoise+n.reliefVariance())
			out = append(out, term)
		}
	}
	return out
}

// axes returns the direction in which a tie is known best, and the inverse variances along and across it: the eigenvectors of
// the inverse covariance, in closed form.
func (t tie) axes() (ex, ey, most, least float64) {
	d, o := float64((t.Info[0]-t.Info[2])/2), t.Info[1]
	mean, root := float64((t.Info[0]+t.Info[2])/2), math.Sqrt(float64(d*d)+float64(o*o))
	ex, ey = 1.0, 0.0
	if root > 1e-9*mean {
		ex, ey = d+root, o
		if d < 0 {
			ex, ey = o, root-d
		}
		l := math.Sqrt(float64(ex*ex) + float64(ey*ey))
		ex, ey = ex/l, ey/l
	}
	return ex, ey, mean + root, mean - root
}

// reliefVariance is that which the limb's own relief, no panel's fault, adds to each rim: all rims on one mountain are
// lifted together, so that together they must say no more than one.
func (n *network) reliefVariance() float64 {
	relief := float64(limbRelief * n.limb.R)
	return float64(float64(relief*relief) * max(1, reliefReach*n.limb.R/rimStep))
}
