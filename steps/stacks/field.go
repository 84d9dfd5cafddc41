package stacks

// nodeStep is the distance of a field's nodes in pixels. The air's distortions are
// smooth over some tens of pixels; between nodes a cubic B-spline runs.
const nodeStep = 16

// grid is where a clip's fields have their nodes: node (i, j) stands at
// ((i−1)·nodeStep, (j−1)·nodeStep) of the canvas.
type grid struct{ NX, NY int }

func gridFor(c canvas) grid {
	n := func(size int) int { return (size+nodeStep-1)/nodeStep + 3 }
	return grid{n(c.W), n(c.H)}
}

func (g grid) len() int { return g.NX * g.NY }

// splineWeights returns the four weights of a uniform cubic B-spline at t, 0 ≤ t < 1.
func splineWeights(t float32) [4]float32 {
	u := 1 - t
	t2, u2 := t*t, u*u
	a, d := u2*u*(1.0/6), t2*t*(1.0/6)
	b := float32(2.0/3) - float32(t2*float32(1-float32(0.5*t)))
	return [4]float32{a, b, ((1 - a) - b) - d, d}
}

// rowReader evaluates fields along rows of the canvas. It is for one goroutine.
type rowReader struct {
	g       grid
	nodes   []float32
	weights [nodeStep][4]float32
}

func newRowReader(g grid) *rowReader {
	r := &rowReader{g: g, nodes: make([]float32, g.NX)}
	for k := range r.weights {
		r.weights[k] = splineWeights(float32(k) / nodeStep)
	}
	return r
}

// row writes the field's values at row y of the canvas, x = 0…len(dst)−1.
func (r *rowReader) row(dst, field []float32, y int) {
	j, wy := y/nodeStep, &r.weights[y%nodeStep]
	n := r.g.NX
	for i := range r.nodes {
		k := j*n + i
		r.nodes[i] = (float32(wy[0]*field[k]) + float32(wy[1]*field[k+n])) + (float32(wy[2]*field[k+2*n]) + float32(wy[3]*field[k+3*n]))
	}
	for x := range dst {
		p, wx := r.nodes[x/nodeStep:], &r.weights[x%nodeStep]
		dst[x] = (float32(wx[0]*p[0]) + float32(wx[1]*p[1])) + (float32(wx[2]*p[2]) + float32(wx[3]*p[3]))
	}
}
