package stacks

import (
	"slices"

	"plenilune/steps/kernel/cells"
	"plenilune/steps/kernel/lanes"
)

// nodeStep is the distance of a field's nodes in pixels. The air's distortions are
// smooth over some tens of pixels; between nodes a cubic B-spline runs.
const nodeStep = lanes.Knot

// grid is where a clip's fields have their nodes: node (i, j) stands at
// ((i−1)·nodeStep, (j−1)·nodeStep) of the canvas.
type grid struct{ NX, NY int }

func gridFor(c canvas) grid {
	n := func(size int) int { return (size+nodeStep-1)/nodeStep + 3 }
	return grid{n(c.W), n(c.H)}
}

func (g grid) len() int { return g.NX * g.NY }

// field is a displacement at each node of a grid, as the coefficients of a spline.
type field struct{ X, Y []float32 }

func newField(g grid) field { return field{make([]float32, g.len()), make([]float32, g.len())} }

// minus returns f − o.
func (f field) minus(o field) field {
	out := field{make([]float32, len(f.X)), make([]float32, len(f.Y))}
	for i := range f.X {
		out.X[i], out.Y[i] = f.X[i]-o.X[i], f.Y[i]-o.Y[i]
	}
	return out
}

// meanField averages fields in order.
func meanField(g grid, all []field) field {
	out := newField(g)
	if len(all) == 0 {
		return out
	}
	for i := range out.X {
		var x, y float64
		for _, f := range all {
			x += float64(f.X[i])
			y += float64(f.Y[i])
		}
		out.X[i], out.Y[i] = float32(x/float64(len(all))), float32(y/float64(len(all)))
	}
	return out
}

// splineWeights returns the four weights of a uniform cubic B-spline at t, 0 ≤ t < 1.
func splineWeights(t float32) [4]float32 {
	u := 1 - t
	t2, u2 := float32(t*t), float32(u*u)
	a, d := float32(u2*u*(1.0/6)), float32(t2*t*(1.0/6))
	b := float32(2.0/3) - float32(t2*float32(1-float32(0.5*t)))
	return [4]float32{a, b, ((1 - a) - b) - d, d}
}

// toSpline turns values at the nodes into coefficients of a spline that runs
// through them but for a small part of what changes from node to node: one step of
// the inverse filter, c = 2v − B·v with B = [1 4 6…]: [1 4 1]/6 along both axes.
func toSpline(dst, v []float32, g grid) {
	at := func(i, n int) int { return max(0, min(n-1, i)) }
	rows := make([]float32, len(v))
	for j := range g.NY {
		r := v[j*g.NX:][:g.NX]
		for i := range r {
			rows[j*g.NX+i] = ((r[at(i-1, g.NX)] + r[at(i+1, g.NX)]) + float32(4*r[i])) * (1.0 / 6)
		}
	}
	for j := range g.NY {
		up, dn := at(j-1, g.NY)*g.NX, at(j+1, g.NY)*g.NX
		for i := range g.NX {
			k := j*g.NX + i
			smooth := float32(((rows[up+i] + rows[dn+i]) + float32(4*rows[k])) * (1.0 / 6))
			dst[k] = v[k] + (v[k] - smooth)
		}
	}
}

// cellWeights are a spline's weights at the middles of the cells between two nodes.
var cellWeights = [nodeStep / cells.Side][4]float32{
	splineWeights((cells.Side - 1) / 2.0 / nodeStep),
	splineWeights((cells.Side + (cells.Side-1)/2.0) / nodeStep),
}

// atCell evaluates a field at the middle of cell (cx, cy) of the canvas.
func (f field) atCell(g grid, cx, cy int) (x, y float32) {
	const half = nodeStep / cells.Side
	wx, wy := &cellWeights[cx%half], &cellWeights[cy%half]
	for j := range 4 {
		k := (cy/half+j)*g.NX + cx/half
		a, b := f.X[k:k+4], f.Y[k:k+4]
		rx := (float32(wx[0]*a[0]) + float32(wx[1]*a[1])) + (float32(wx[2]*a[2]) + float32(wx[3]*a[3]))
		ry := (float32(wx[0]*b[0]) + float32(wx[1]*b[1])) + (float32(wx[2]*b[2]) + float32(wx[3]*b[3]))
		x += float32(wy[j] * rx)
		y += float32(wy[j] * ry)
	}
	return x, y
}

// rowReader evaluates fields along rows of a raster. It is for one goroutine.
type rowReader struct {
	g     grid
	r     raster
	nodes []float32
	along []knot
}

func newRowReader(g grid, r raster) *rowReader {
	rr := &rowReader{g: g, r: r, nodes: make([]float32, g.NX), along: make([]knot, r.size().W)}
	for x := range rr.along {
		rr.along[x] = knotAt(r.at(x))
	}
	return rr
}

// knotWeights are those of the pixels between two nodes where the raster is the sensor's.
var knotWeights = func() (w [4][lanes.Knot]float32) {
	for x := range nodeStep {
		for k, v := range knotAt(float64(x)).weights {
			w[k][x] = v
		}
	}
	return w
}()

// bounds is the lowest and the highest of some values.
type bounds struct{ lo, hi float32 }

func (s bounds) moved(by float32) bounds { return bounds{s.lo + by, s.hi + by} }

// row writes the field's values at row y of the raster, x = 0…len(dst)−1, and returns between what they lie: a spline
// stays between its nodes' coefficients.
func (r *rowReader) row(dst, field []float32, y int) bounds {
	down := knotAt(r.r.at(y))
	wy, n := &down.weights, r.g.NX
	for i := range r.nodes {
		k := down.node*n + i
		r.nodes[i] = (float32(wy[0]*field[k]) + float32(wy[1]*field[k+n])) + (float32(wy[2]*field[k+2*n]) + float32(wy[3]*field[k+3*n]))
	}
	all := bounds{slices.Min(r.nodes), slices.Max(r.nodes)}
	if r.r.scale == 1 {
		lanes.Between(dst, r.nodes, &knotWeights)
		return all
	}
	for x := range dst {
		k := &r.along[x]
		p, wx := r.nodes[k.node:], &k.weights
		dst[x] = (float32(wx[0]*p[0]) + float32(wx[1]*p[1])) + (float32(wx[2]*p[2]) + float32(wx[3]*p[3]))
	}
	return all
}
