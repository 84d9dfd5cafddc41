package stacks

// weigher gives each place of a frame its weight from the grades of the cells,
// which are fixed to the reference frame. It is for one goroutine.
type weigher struct {
	r     raster
	nx    int
	down  axis
	line  []float32
	along []interval // of each column
}

// axis is how many cells there are one way, and how large they are, in pixels of the sensor.
type axis struct {
	n    int
	size float32
}

// interval is a place between the middles of two cells, and how far it is from the first.
type interval struct {
	a, b int
	t    float32
}

func newWeigher(t *clipFrames, w, h int, r raster) *weigher {
	c := t.Cells
	g := &weigher{r: r, nx: c.NX, down: axis{c.NY, float32(h) / float32(c.NY)}, line: make([]float32, c.NX), along: make([]interval, r.size().W)}
	across := axis{c.NX, float32(w) / float32(c.NX)}
	for x := range g.along {
		g.along[x] = across.between(float32(r.at(x) + float64(r.X)))
	}
	return g
}

// between finds the two cells about a place.
func (a axis) between(at float32) interval {
	p := (at+0.5)/a.size - 0.5
	p = max(0, min(float32(a.n-1), p))
	i := min(int(p), max(0, a.n-2))
	return interval{i, min(i+1, a.n-1), p - float32(i)}
}

// row writes the weights of a frame's cells along row y of the raster, on the
// straight line between the cells' centres.
func (g *weigher) row(dst []float32, cells []float32, y int) {
	v := g.down.between(float32(g.r.at(y) + float64(g.r.Y)))
	for i := range g.line {
		a, b := cells[v.a*g.nx+i], cells[v.b*g.nx+i]
		g.line[i] = a + float32(v.t*(b-a))
	}
	for x := range dst {
		v := &g.along[x]
		a, b := g.line[v.a], g.line[v.b]
		dst[x] = a + float32(v.t*(b-a))
	}
}
