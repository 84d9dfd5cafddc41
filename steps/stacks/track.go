package stacks

import (
	"math"

	"plenilune/steps/kernel/cells"
	"plenilune/steps/kernel/plane"
)

// trackTable says where the Moon lies in the frames: how much further right and down than in the stack's own frame of
// reference, in pixels, as the mean over the field of how far mount and air displaced each place, weighted by its detail.
type trackTable struct {
	Frames []int        `json:"frames"` // numbers, rising, of those whose fields are known
	Shift  [][2]float64 `json:"shift"`
}

// trackOf adds to the whole frames' shifts the mean of their fields; without a reference there are none.
func trackOf(c *clip, ref *plane.Image, all map[int]field, mean field, cv canvas) trackTable {
	out := trackTable{Frames: []int{}, Shift: [][2]float64{}}
	if ref == nil {
		return out
	}
	t := newTarget(ref.Pix[0], cv)
	weight := t.detail()
	for i := range c.tab.Grade {
		f, ok := all[i]
		if !ok {
			continue
		}
		x, y := f.minus(mean).weighted(t.g, weight, t.fine.NX, t.fine.NY)
		s := c.tab.Shift[i]
		out.Frames = append(out.Frames, i)
		out.Shift = append(out.Shift, [2]float64{round4(s[0] + x), round4(s[1] + y)})
	}
	return out
}

func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }

// detail is the summed squared slopes of each cell of the fine view.
func (t *target) detail() []float64 {
	out := make([]float64, t.fine.NX*t.fine.NY)
	for y := range t.fine.H {
		for x := range t.fine.W {
			i := y*t.fine.W + x
			if t.fine.Known[i] {
				gx, gy := float64(t.fine.GX[i]), float64(t.fine.GY[i])
				out[y/cells.Side*t.fine.NX+x/cells.Side] += float64(gx*gx) + float64(gy*gy)
			}
		}
	}
	return out
}

// weighted is the mean of a field over cells of these weights.
func (f field) weighted(g grid, weight []float64, nx, ny int) (x, y float64) {
	var sum float64
	for cy := range ny {
		for cx := range nx {
			w := weight[cy*nx+cx]
			ux, uy := f.atCell(g, cx, cy)
			x += float64(w * float64(ux))
			y += float64(w * float64(uy))
			sum += w
		}
	}
	if sum <= 0 {
		return 0, 0
	}
	return x / sum, y / sum
}
