package stacks

import (
	"math"
)

// Measured on simulated nights with known distortions (two kinds of seeing); each
// optimum is flat, a factor of two to either side costs less than 2 % of resolution.
const (
	alignCorr    = 8.0 // pixels whose errors go together: blur that differs is no white noise
	alignStiff   = 3.0 // 1/px²: how alike neighbouring nodes move
	alignAnchor  = 0.1 // 1/px²: how near the whole frame's shift they stay
	alignOutlier = 1.0 // px beyond which a node that disagrees with its neighbours loses weight
	alignRounds  = 3   // resamplings, the first of broad detail
	alignSweeps  = 40  // over the grid, until it is at rest
)

// target is what frames are aligned to: a picture on the canvas with its slopes.
type target struct {
	cv    canvas
	g     grid
	broad slopes
	fine  slopes
	known []bool
}

type slopes struct{ pix, gx, gy []float32 }

func slopesOf(pix []float32, w, h int) slopes {
	s := slopes{append([]float32(nil), pix...), make([]float32, w*h), make([]float32, w*h)}
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			s.gx[i] = 0.5 * (pix[i+1] - pix[i-1])
			s.gy[i] = 0.5 * (pix[i+w] - pix[i-w])
		}
	}
	return s
}

// newTarget takes a luma on the canvas, NaN where unknown.
func newTarget(luma []float32, cv canvas) *target {
	t := &target{cv: cv, g: gridFor(cv), known: make([]bool, len(luma))}
	filled := append([]float32(nil), luma...)
	for i, v := range luma {
		t.known[i] = v == v
	}
	fillUnknown(filled, cv.W, cv.H)
	shrink(t.known, cv.W, cv.H, 2)
	v := newViewer(cv.W, cv.H).see(filled)
	t.broad, t.fine = slopesOf(v.broad, cv.W, cv.H), slopesOf(v.fine, cv.W, cv.H)
	return t
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
	rows   *rowReader
	fx, fy []float32
	nodes  []node
	ux, uy []float64
}

// node gathers the equations of the pixels about one node: the squared difference
// to the target, linear in the displacement (Lucas & Kanade 1981).
type node struct {
	xx, xy, yy     float64 // slopes by slopes
	fx, fy, px, py float64 // frame and target by slopes
	ff, fp, pp, n  float64 // frame and target by themselves, pixels
	bx, by, dd     float64 // difference by slopes and by itself, see difference
	weight         float64
}

func newAligner(t *target) *aligner {
	n := t.g.len()
	return &aligner{t: t, rows: newRowReader(t.g), fx: make([]float32, t.cv.W), fy: make([]float32, t.cv.W),
		nodes: make([]node, n), ux: make([]float64, n), uy: make([]float64, n)}
}

// align returns the field, on top of the whole frame's shift, by which the content
// of a frame, seen in v, w by h pixels, lies further right and down than in the target.
func (a *aligner) align(v views, w, h int, dx, dy float64) field {
	f := newField(a.t.g)
	clear(a.ux)
	clear(a.uy)
	for round := range alignRounds {
		ref, pix := a.t.fine, v.fine
		if round == 0 {
			ref, pix = a.t.broad, v.broad
		}
		a.gather(ref, pix, w, h, dx, dy, f)
		gain := a.gain()
		if gain < 0.05 {
			return f
		}
		for k := range a.nodes {
			a.nodes[k].difference(gain)
		}
		a.relax(gain)
		a.write(f)
	}
	return f
}

// gain returns how much of the target's detail the frame carries.
func (a *aligner) gain() float64 {
	var fp, pp float64
	for i := range a.nodes {
		fp += a.nodes[i].fp
		pp += a.nodes[i].pp
	}
	if pp == 0 {
		return 0
	}
	return min(2, fp/pp)
}

// difference sets the sums that hold the frame less gain times the target.
func (n *node) difference(gain float64) {
	n.bx = n.fx - float64(gain*n.px)
	n.by = n.fy - float64(gain*n.py)
	n.dd = max(0, n.ff-float64(2*gain*n.fp)+float64(gain*gain*n.pp))
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

// gather fills the nodes' equations with the frame resampled by the field so far.
func (a *aligner) gather(ref slopes, pix []float32, w, h int, dx, dy float64, f field) {
	clear(a.nodes)
	cv := a.t.cv
	for y := range cv.H {
		a.rows.row(a.fx, f.X, y)
		a.rows.row(a.fy, f.Y, y)
		bx, by := float32(float64(cv.X)+dx), float32(float64(y+cv.Y)+dy)
		row := a.nodes[((y+nodeStep/2)/nodeStep+1)*a.t.g.NX:]
		for x0 := 0; x0 < cv.W; x0 += nodeStep / 2 {
			var s [11]float32
			for x := x0; x < min(cv.W, x0+nodeStep/2); x++ {
				i := y*cv.W + x
				if !a.t.known[i] {
					continue
				}
				px, py := (bx+float32(x))+a.fx[x], by+a.fy[x]
				if !(px >= 2 && py >= 2 && px < float32(w-3) && py < float32(h-3)) {
					continue
				}
				p, gx, gy := ref.pix[i], ref.gx[i], ref.gy[i]
				v := sampleCubic(pix, w, px, py)
				s[0] += float32(gx * gx)
				s[1] += float32(gx * gy)
				s[2] += float32(gy * gy)
				s[3] += float32(gx * v)
				s[4] += float32(gy * v)
				s[5] += float32(gx * p)
				s[6] += float32(gy * p)
				s[7] += float32(v * v)
				s[8] += float32(v * p)
				s[9] += float32(p * p)
				s[10]++
			}
			row[(x0+nodeStep/2)/nodeStep+1].add(&s)
		}
	}
}

func (n *node) add(s *[11]float32) {
	for k, p := range []*float64{&n.xx, &n.xy, &n.yy, &n.fx, &n.fy, &n.px, &n.py, &n.ff, &n.fp, &n.pp, &n.n} {
		*p += float64(s[k])
	}
}
