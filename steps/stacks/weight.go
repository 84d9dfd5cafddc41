package stacks

// weigher gives each place of a frame its weight from the grades of the cells,
// which are fixed to the reference frame. It is for one goroutine.
type weigher struct {
	nx, ny int
	cw, ch float32 // px
	line   []float32
}

func newWeigher(t *clipFrames, w, h int) *weigher {
	c := t.Cells
	return &weigher{nx: c.NX, ny: c.NY, cw: float32(w) / float32(c.NX), ch: float32(h) / float32(c.NY),
		line: make([]float32, c.NX)}
}

// between finds the two cells about a place, and how far it is from the first.
func between(at, size float32, n int) (int, int, float32) {
	p := (at+0.5)/size - 0.5
	p = max(0, min(float32(n-1), p))
	i := min(int(p), max(0, n-2))
	return i, min(i+1, n-1), p - float32(i)
}

// row writes the weights of a frame's cells along row y of the raster, on the
// straight line between the cells' centres.
func (g *weigher) row(dst []float32, cells []float32, r raster, y int) {
	j0, j1, t := between(float32(r.at(y)+float64(r.Y)), g.ch, g.ny)
	for i := range g.line {
		a, b := cells[j0*g.nx+i], cells[j1*g.nx+i]
		g.line[i] = a + float32(t*(b-a))
	}
	for x := range dst {
		i0, i1, t := between(float32(r.at(x)+float64(r.X)), g.cw, g.nx)
		a, b := g.line[i0], g.line[i1]
		dst[x] = a + float32(t*(b-a))
	}
}
