package simulate

import (
	"math"

	"plenilune/steps/kernel/filter"
)

// warps draws, for each frame of a clip, how the air displaces the picture from
// place to place: fields smooth over WarpScalePx, partly alike from frame to frame.
type warps struct {
	nx, ny int
	x, y   [][]float32 // a frame; nodes row by row
}

func newWarps(p *Plan, clip int) *warps {
	d := newDice(p.Seed, forWarp, clip)
	w := &warps{nx: p.Width/warpNode + 4, ny: p.Height/warpNode + 4}
	sigma := p.WarpScalePx / 2 / warpNode
	pad := int(3*sigma) + 1
	nx, ny := w.nx+2*pad, w.ny+2*pad
	draw := func() []float32 {
		v := make([]float32, nx*ny)
		for i := range v {
			v[i] = d.gauss()
		}
		smooth := make([]float32, nx*ny)
		filter.Gaussian(smooth, v, nx, ny, sigma)
		out := make([]float32, w.nx*w.ny)
		k := float32(p.WarpPx * 2 * math.Sqrt(math.Pi) * sigma) // back to unit variance, then to pixels
		for y := range w.ny {
			for x := range w.nx {
				out[y*w.nx+x] = k * smooth[(y+pad)*nx+x+pad]
			}
		}
		return out
	}
	const keep = 0.6
	fresh := float32(math.Sqrt(1 - keep*keep))
	for i := range p.Frames {
		x, y := draw(), draw()
		if i > 0 {
			for k := range x {
				x[k] = float32(keep*w.x[i-1][k]) + float32(fresh*x[k])
				y[k] = float32(keep*w.y[i-1][k]) + float32(fresh*y[k])
			}
		}
		w.x, w.y = append(w.x, x), append(w.y, y)
	}
	return w
}

// row interpolates a frame's field along row y of the sensor, smoothly (uniform
// cubic B-splines).
func (w *warps) row(nodes []float32, dst []float32, y int) {
	j, fy := y/warpNode, float32(y%warpNode)/warpNode
	wy := spline(fy)
	line := make([]float32, w.nx)
	for k := range 4 {
		for x := range line {
			line[x] += float32(wy[k] * nodes[(j+k)*w.nx+x])
		}
	}
	for x := range dst {
		i, fx := x/warpNode, float32(x%warpNode)/warpNode
		wx := spline(fx)
		dst[x] = float32(wx[0]*line[i]) + float32(wx[1]*line[i+1]) + float32(wx[2]*line[i+2]) + float32(wx[3]*line[i+3])
	}
}

// spline returns the weights of the four nodes around a place t of the way from
// the second to the third.
func spline(t float32) [4]float32 {
	u := 1 - t
	t2, t3 := float32(t*t), float32(t*t)*t
	return [4]float32{
		float32(u*u) * u / 6,
		(float32(3*t3) - float32(6*t2) + 4) / 6,
		(float32(-3*t3) + float32(3*t2) + float32(3*t) + 1) / 6,
		t3 / 6,
	}
}
