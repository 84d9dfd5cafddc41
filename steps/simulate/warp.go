package simulate

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// sway is the smooth bending of one frame: displacements on two lattices,
// coarse and fine, joined by cubic B-splines. Lattice node (0, 0) lies a reach
// outside of the frame, so that its padding is covered.
type sway struct {
	layers [2]lattice
}

type lattice struct {
	pitch  float64 // px between nodes
	nx, ny int
	dx, dy []float32
}

// reach is how far beyond the frame's border a sway is defined, px.
const swayReach = 40

func newLattice(w, h int, pitch float64) lattice {
	l := lattice{pitch: pitch}
	l.nx = int(float64(w+2*swayReach)/pitch) + 5
	l.ny = int(float64(h+2*swayReach)/pitch) + 5
	l.dx, l.dy = make([]float32, l.nx*l.ny), make([]float32, l.nx*l.ny)
	return l
}

// warpMemory is how alike the bending of one frame and the next is.
const warpMemory = 0.6

// splineRMS is the rms of a cubic B-spline over white noise of variance 1 on a
// square lattice: the integral of B² is 151/315 along either axis.
const splineRMS = 151.0 / 315

// sways draws the bending of n frames of w by h. Each lattice follows a
// first-order autoregression in time, the coarse one slower; strength is the rms
// displacement along an axis in px, for each frame.
func sways(w, h int, coarsePx float64, strength []float64, memory float64, d *dice) []sway {
	out := make([]sway, len(strength))
	var state [2]lattice
	for k := range state {
		state[k] = newLattice(w, h, coarsePx/float64(1+k))
	}
	share := [2]float64{0.85, 0.53} // of the amplitude; squares sum to 1
	for t := range out {
		for k := range state {
			keep := memory
			if k == 1 {
				keep = float64(memory * memory)
			}
			if t == 0 {
				keep = 0
			}
			fresh := float32(math.Sqrt(1 - float64(keep*keep)))
			s := &state[k]
			for i := range s.dx {
				s.dx[i] = float32(float32(keep)*s.dx[i]) + float32(fresh*d.gauss())
				s.dy[i] = float32(float32(keep)*s.dy[i]) + float32(fresh*d.gauss())
			}
			l := newLattice(w, h, s.pitch)
			g := float32(strength[t] * share[k] / splineRMS)
			for i := range s.dx {
				l.dx[i], l.dy[i] = g*s.dx[i], g*s.dy[i]
			}
			out[t].layers[k] = l
		}
	}
	return out
}

// at returns the displacement at frame coordinates (x, y): the content that
// belongs there is found that much to the right and down of where it should be.
func (s *sway) at(x, y float64) (dx, dy float64) {
	for k := range s.layers {
		l := &s.layers[k]
		ix, wx := spline((x + swayReach) / l.pitch)
		iy, wy := spline((y + swayReach) / l.pitch)
		for j, w := range wy {
			for i, v := range wx {
				n := (iy+j)*l.nx + ix + i
				dx += float64(float64(w*v) * float64(l.dx[n]))
				dy += float64(float64(w*v) * float64(l.dy[n]))
			}
		}
	}
	return dx, dy
}

// columns holds the spline nodes and weights of a row's places, the same for
// all rows and frames.
type columns [2][]struct {
	node   int
	weight [4]float32
}

// newColumns prepares n places from x0 on for lattices whose coarse pitch is coarsePx.
func newColumns(x0, n int, coarsePx float64) *columns {
	c := &columns{}
	for k := range c {
		c[k] = make([]struct {
			node   int
			weight [4]float32
		}, n)
		for i := range c[k] {
			node, w := spline(float64(x0+i+swayReach) / (coarsePx / float64(1+k)))
			c[k][i].node = node
			c[k][i].weight = [4]float32{float32(w[0]), float32(w[1]), float32(w[2]), float32(w[3])}
		}
	}
	return c
}

// row fills dx and dy with the displacements along row y.
func (s *sway) row(c *columns, y int, dx, dy []float32) {
	clear(dx)
	clear(dy)
	for k := range s.layers {
		l := &s.layers[k]
		iy, wy := spline(float64(y+swayReach) / l.pitch)
		line := make([]float32, 2*l.nx)
		sx, sy := line[:l.nx], line[l.nx:]
		for j, w := range wy {
			for i := range sx {
				n := (iy+j)*l.nx + i
				sx[i] += float32(float32(w) * l.dx[n])
				sy[i] += float32(float32(w) * l.dy[n])
			}
		}
		for i := range dx {
			q := &c[k][i]
			u, v, w := sx[q.node:q.node+4], sy[q.node:q.node+4], &q.weight
			dx[i] += float32(w[0]*u[0]) + float32(w[1]*u[1]) + float32(w[2]*u[2]) + float32(w[3]*u[3])
			dy[i] += float32(w[0]*v[0]) + float32(w[1]*v[1]) + float32(w[2]*v[2]) + float32(w[3]*v[3])
		}
	}
}

// spline returns the first of four nodes and their weights at x ≥ 0 in pitches.
func spline(x float64) (int, [4]float64) {
	x = max(0, x)
	f := math.Floor(x)
	t := x - f
	u := 1 - t
	t2, t3 := float64(t*t), float64(float64(t*t)*t)
	return int(f), [4]float64{
		float64(float64(u*u)*u) / 6,
		(4 - float64(6*t2) + float64(3*t3)) / 6,
		(1 + float64(3*t) + float64(3*t2) - float64(3*t3)) / 6,
		t3 / 6,
	}
}

// bending is the rms displacement along an axis in air of D/r0 = overR0: like
// the spread of the angle of arrival it grows as r0^(-5/6).
func bending(p *Plan, overR0 float64) float64 {
	return p.WarpPx * portable.Pow(overR0/p.ApertureOverR0, 5.0/6)
}

// meanWarp states a frame's mean displacement over lit ground and its rms around it.
func (c *ClipTruth) meanWarp(i int, lit func(x, y int) bool) {
	var n, sx, sy, ss float64
	for y := 0; y < c.h; y += 4 {
		for x := 0; x < c.w; x += 4 {
			if !lit(x, y) {
				continue
			}
			dx, dy := c.sways[i].at(float64(x), float64(y))
			n++
			sx += dx
			sy += dy
			ss += sq(dx) + sq(dy)
		}
	}
	if n == 0 {
		return
	}
	f := &c.Frames[i]
	f.WarpX, f.WarpY = sx/n, sy/n
	f.WarpRMSPx = math.Sqrt(max(0, (ss/n-sq(f.WarpX)-sq(f.WarpY))/2))
}
