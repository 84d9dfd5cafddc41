package stacks

import (
	"math"

	"plenilune/steps/kernel/cells"
)

// Measured on simulated nights with known distortions (two kinds of seeing); each
// optimum is flat, a factor of two to either side costs less than 2 % of resolution.
const (
	alignCorr    = 8.0   // pixels whose errors go together: blur that differs is no white noise
	alignStiff   = 3.0   // 1/px²: how alike neighbouring nodes move
	alignAnchor  = 0.1   // 1/px²: how near the whole frame's shift they stay
	alignOutlier = 1.0   // px beyond which a node that disagrees with its neighbours loses weight
	alignRounds  = 3     // resamplings, the first of broad detail
	alignSweeps  = 40    // over the grid, at most
	alignRest    = 0.005 // px: no node moves further, the grid is at rest
	alignBlank   = 1.5   // times the squared slopes that the reference's noise alone has, and a cell shows nothing
	alignOver    = 1.5   // how much further than its neighbours ask a node goes in a sweep
)

// target is what frames are aligned to: two views of a picture on the canvas.
type target struct {
	cv          canvas
	g           grid
	broad, fine *cells.Picture

	blankBroad, blankFine []bool // cells whose detail may be but noise; nil: all count
}

// newTarget takes a luma on the canvas, NaN where unknown.
func newTarget(luma []float32, cv canvas) *target {
	t := &target{cv: cv, g: gridFor(cv)}
	known := make([]bool, len(luma))
	filled := append([]float32(nil), luma...)
	for i, v := range luma {
		known[i] = v == v
	}
	fillUnknown(filled, cv.W, cv.H)
	shrink(known, cv.W, cv.H, 2)
	v := newViewer(cv.W, cv.H)
	seen := v.see(filled)
	t.fine = cells.NewPicture(seen.fine, known, cv.W, cv.H)
	t.broad = cells.NewPicture(seen.broad, halfKnown(known, cv.W, cv.H), v.hw, v.hh)
	return t
}

// leaveBlank has the target go without cells that show nothing, such as sky, whose noise is no detail to hold on to.
// variance is that of the picture's noise at a level of luma.
func (t *target) leaveBlank(luma []float32, variance func(level float32) float32) {
	cv := t.cv
	level := func(cx, cy, side int) (most float32) { // the brightest of some samples: where it is dark, noise is least
		for y := cy * side; y < min(cv.H, (cy+1)*side); y += 3 {
			for x := cx * side; x < min(cv.W, (cx+1)*side); x += 3 {
				if v := luma[y*cv.W+x]; v > most { // and not unknown
					most = v
				}
			}
		}
		return most
	}
	t.blankFine = blank(t.fine, func(cx, cy int) float64 { return float64(variance(level(cx, cy, cells.Side))) })
	t.blankBroad = blank(t.broad, func(cx, cy int) float64 { return 0.25 * float64(variance(level(cx, cy, 2*cells.Side))) })
}

// blank tells which cells' slopes are no steeper than noise of a variance may make them: of white noise a central
// difference has half the variance, along and down.
func blank(p *cells.Picture, variance func(cx, cy int) float64) []bool {
	out := make([]bool, p.NX*p.NY)
	for cy := range p.NY {
		for cx := range p.NX {
			own := p.Own(cx, cy)
			out[cy*p.NX+cx] = own.XX+own.YY <= float64(alignBlank*own.N)*variance(cx, cy)
		}
	}
	return out
}

// halfKnown tells of which pixels at half the scale all four are known.
func halfKnown(known []bool, w, h int) []bool {
	out := make([]bool, 0, (w/2)*(h/2))
	for y := range h / 2 {
		a, b := known[2*y*w:][:w], known[(2*y+1)*w:][:w]
		for x := range w / 2 {
			out = append(out, a[2*x] && a[2*x+1] && b[2*x] && b[2*x+1])
		}
	}
	return out
}

// fillUnknown gives unknown pixels the value of the nearest known one along their
// row, rows without any that of the nearest row: so that filters see no edge there.
func fillUnknown(pix []float32, w, h int) {
	full := make([]bool, h)
	for y := range h {
		row := pix[y*w:][:w]
		last := float32(math.NaN())
		for _, pass := range []int{1, -1} {
			last = float32(math.NaN())
			for k := range w {
				x := k
				if pass < 0 {
					x = w - 1 - k
				}
				if row[x] != row[x] {
					row[x] = last
				}
				last = row[x]
			}
		}
		full[y] = last == last
	}
	for y := range h {
		for d := 1; !full[y] && d < h; d++ {
			for _, o := range []int{y - d, y + d} {
				if o >= 0 && o < h && full[o] {
					copy(pix[y*w:][:w], pix[o*w:][:w])
					d = h
					break
				}
			}
		}
	}
}

// shrink takes n pixels off the borders of what is known.
func shrink(known []bool, w, h, n int) {
	for range n {
		src := append([]bool(nil), known...)
		for y := range h {
			for x := range w {
				i := y*w + x
				if x == 0 || y == 0 || x == w-1 || y == h-1 || !(src[i-1] && src[i+1] && src[i-w] && src[i+w]) {
					known[i] = false
				}
			}
		}
	}
}

// aligner finds the field that lays a frame on a target. It is for one goroutine.
type aligner struct {
	t      *target
	nodes  []node
	solved []solved
	ux, uy []float64
	none   []float64 // a row of zeros, beyond the grid
}

// node gathers the equations of the pixels about one node: the squared difference
// to the target, linear in the displacement (Lucas & Kanade 1981).
type node struct {
	cells.Sums
	bx, by, dd float64 // difference by slopes and by itself, see difference
	weight     float64
}

func newAligner(t *target) *aligner {
	n := t.g.len()
	return &aligner{t: t, nodes: make([]node, n), solved: make([]solved, n), ux: make([]float64, n), uy: make([]float64, n), none: make([]float64, t.g.NX)}
}

// align returns the field, on top of the whole frame's shift, by which the content
// of a frame, seen in v, w by h pixels, lies further right and down than in the target.
func (a *aligner) align(v views, w, h int, dx, dy float64) field {
	f := newField(a.t.g)
	clear(a.ux)
	clear(a.uy)
	for round := range alignRounds {
		if round == 0 {
			a.gatherBroad(v.broad, w/2, h/2, dx, dy)
		} else {
			a.gather(v.fine, w, h, dx, dy, f)
		}
		gain := a.gain()
		if gain < 0.05 {
			return f
		}
		for k := range a.nodes {
			a.nodes[k].difference(gain)
		}
		rest := alignRest
		if round < alignRounds-1 {
			rest *= 4
		}
		a.relax(gain, rest)
		a.write(f)
	}
	return f
}

// gain returns how much of the target's detail the frame carries.
func (a *aligner) gain() float64 {
	var fp, pp float64
	for i := range a.nodes {
		fp += a.nodes[i].FP
		pp += a.nodes[i].PP
	}
	if pp == 0 {
		return 0
	}
	return min(2, fp/pp)
}

// difference sets the sums that hold the frame less gain times the target.
func (n *node) difference(gain float64) {
	n.bx = n.FX - float64(gain*n.PX)
	n.by = n.FY - float64(gain*n.PY)
	n.dd = max(0, n.FF-float64(2*gain*n.FP)+float64(gain*gain*n.PP))
}

// write turns the nodes' displacements into the field's coefficients.
func (a *aligner) write(f field) {
	v := make([]float32, len(a.ux))
	for i, u := range a.ux {
		v[i] = float32(u)
	}
	toSpline(f.X, v, a.t.g)
	for i, u := range a.uy {
		v[i] = float32(u)
	}
	toSpline(f.Y, v, a.t.g)
}

// gather fills the nodes' equations with the frame resampled by the field so far,
// cell by cell: a cell moves by what the field says at its middle.
func (a *aligner) gather(pix []float32, w, h int, dx, dy float64, f field) {
	clear(a.nodes)
	cv, nx, ref := a.t.cv, a.t.g.NX, a.t.fine
	const half = nodeStep / cells.Side
	for cy := range ref.NY {
		j := (cy+half/2)/half + 1
		for cx := range ref.NX {
			if a.t.blankFine != nil && a.t.blankFine[cy*ref.NX+cx] {
				continue
			}
			ux, uy := f.atCell(a.t.g, cx, cy)
			s := ref.Compare(cx, cy, pix, w, h, float32(float64(cv.X)+dx)+ux, float32(float64(cv.Y)+dy)+uy)
			a.nodes[j*nx+(cx+half/2)/half+1].Add(&s)
		}
	}
}

// gatherBroad is gather at half the scale, where a cell fills the square between four nodes, which share it: of its
// pixels each stands for four, and its slopes are per two pixels.
func (a *aligner) gatherBroad(pix []float32, w, h int, dx, dy float64) {
	clear(a.nodes)
	nx, ref := a.t.g.NX, a.t.broad
	sx, sy := float32(0.5*(float64(a.t.cv.X)+dx)), float32(0.5*(float64(a.t.cv.Y)+dy))
	for cy := range ref.NY {
		for cx := range ref.NX {
			if a.t.blankBroad != nil && a.t.blankBroad[cy*ref.NX+cx] {
				continue
			}
			s := ref.Compare(cx, cy, pix, w, h, sx, sy)
			s.XX, s.XY, s.YY = 0.25*s.XX, 0.25*s.XY, 0.25*s.YY
			s.FX, s.FY, s.PX, s.PY = 0.5*s.FX, 0.5*s.FY, 0.5*s.PX, 0.5*s.PY
			k := (cy+1)*nx + cx + 1
			for _, i := range [4]int{k, k + 1, k + nx, k + nx + 1} {
				a.nodes[i].Add(&s)
			}
		}
	}
}
