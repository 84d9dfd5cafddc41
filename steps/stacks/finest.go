package stacks

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/frc"
)

// finestWindow is the side of the windows in which the two halves of a stack are compared, in pixels of the sensor. On white
// ground whose blur doubles over 1,100 px, limits of windows of 64, 128 and 256 px lie off by 2.8, 0.9 and 1.6 % in the mean and scatter by
// 2.0, 1.2 and 1.0 % beside little noise, by 1.4, 0.3 and 0.2 % and by 3.8, 2.3 and 1.5 % beside ten times as much: less is lost in the
// rings of a small window's spectrum than a wide one evens out.
const finestWindow = 128

// coarsestFinest is the longest period that is told, of a window's side: fewer waves in a window are brightness rather than detail,
// and noise agrees on as much.
const coarsestFinest = 0.25

// finestTable is how fine a stack's detail is, place by place: the frequency up to which its two halves agree, in square windows that
// overlap by half. Columns and rows are even, from the first window's middle to the last one's.
type finestTable struct {
	Width  int     `json:"width"` // of the stack, px
	Height int     `json:"height"`
	Window int     `json:"window_px"`
	NX     int     `json:"nx"` // 0: nothing is known
	NY     int     `json:"ny"`
	X0     float64 `json:"x0"` // of the first middle, px
	Y0     float64 `json:"y0"`
	StepX  float64 `json:"step_x"`
	StepY  float64 `json:"step_y"`

	Limit []float64 `json:"limit_cycles_per_px"` // row by row; pixels of the stack; 0: unknown
}

// finest compares the halves window by window.
func (h halves) finest(ctx context.Context, t *pipeline.Task, r raster) (finestTable, error) {
	out := h.windows(int(math.Round(finestWindow * r.scale)))
	err := t.Each(ctx, len(out.Limit), func(k int) error {
		out.Limit[k] = h.limitIn(&out, k)
		return nil
	})
	return out, err
}

// windows lays windows of a side over what both halves show.
func (h halves) windows(side int) finestTable {
	out := finestTable{Width: h.cv.W, Height: h.cv.H, Window: side, Limit: []float64{}}
	w, ht := h.x1-h.x0, h.y1-h.y0
	if w < side || ht < side {
		return out
	}
	out.NX, out.StepX = windowsIn(w, side)
	out.NY, out.StepY = windowsIn(ht, side)
	half := float64(float64(side-1) / 2)
	out.X0, out.Y0 = float64(h.x0)+half, float64(h.y0)+half
	out.Limit = make([]float64, out.NX*out.NY)
	return out
}

// limitIn is the frequency up to which the halves agree in window k, 0 if that is not known.
func (h halves) limitIn(f *finestTable, k int) float64 {
	x := h.x0 + int(math.Round(float64(k%f.NX)*f.StepX))
	y := h.y0 + int(math.Round(float64(k/f.NX)*f.StepY))
	a, b := h.cut(x, y, f.Window, f.Window)
	limit := frc.Correlate(a, b, f.Window, f.Window).Limit()
	if limit*coarsestFinest*float64(f.Window) < 1 {
		return 0
	}
	return math.Round(1e4*limit) / 1e4
}

// windowsIn tells how many windows of a side a length holds that overlap by half or a little more, and how far apart they begin.
func windowsIn(length, side int) (n int, step float64) {
	n = (length-side+side/2-1)/(side/2) + 1
	if n == 1 {
		return 1, 0
	}
	return n, float64(length-side) / float64(n-1)
}
