package frames

import (
	"context"
	"math"
	"slices"

	"plenilune/pipeline"
)

// point is a displacement in pixels.
type point struct{ X, Y float64 }

func (a point) times(k float64) point { return point{a.X * k, a.Y * k} }

// apart is the distance between two.
func apart(a, b point) float64 {
	dx, dy := a.X-b.X, a.Y-b.Y
	return math.Sqrt(float64(dx*dx) + float64(dy*dy))
}

// template is what frames are tracked against.
type template struct {
	broad *tracker // tells whether a frame fits
	near  *tracker // says where it lies; the places in it are followed by what stacks it
}

// newTemplate tracks the best frames of the sample against their own mean, by either
// view, and returns the means: the track then leans on no single frame's
// distortion. top are their places in the sample; their displacements are improved.
func (p *follower) newTemplate(ctx context.Context, t *pipeline.Task, v *survey, top []int) (*template, error) {
	at := make([]point, len(top))
	broad, near := make([][]float32, len(top)), make([][]float32, len(top))
	frames := make([]int, len(top))
	for k, j := range top {
		at[k], broad[k], frames[k] = v.at[j].times(1/float64(p.coarse.f)), v.broad[j], v.frames[j]
	}
	tr := &template{}
	for range 2 {
		tr.broad = newTracker(meanOf(p.coarse, broad, at))
		if err := t.Each(ctx, len(top), func(k int) error {
			at[k].X, at[k].Y, _, _ = tr.broad.track(broad[k], at[k].X, at[k].Y, roughRest)
			return nil
		}); err != nil {
			return nil, err
		}
	}
	tr.broad = newTracker(meanOf(p.coarse, broad, at))
	if err := p.each(ctx, t, frames, func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		near[k] = slices.Clone(p.near(s))
		return nil
	}); err != nil {
		return nil, err
	}
	for k := range at {
		at[k] = at[k].times(float64(p.coarse.f) / float64(p.fine.f))
	}
	tr.near = newTracker(meanOf(p.fine, near, at))
	if err := t.Each(ctx, len(top), func(k int) error {
		at[k].X, at[k].Y, _, _ = tr.near.track(near[k], at[k].X, at[k].Y, nearRest)
		return nil
	}); err != nil {
		return nil, err
	}
	tr.near = newTracker(meanOf(p.fine, near, at))
	for k, j := range top {
		v.at[j] = at[k].times(float64(p.fine.f))
	}
	return tr, nil
}

// rough improves a displacement, in pixels of the frame, at the coarse scale, and
// returns how well the frame fits and the share of the template that it shows.
func (p *follower) rough(tr *template, broad []float32, at point) (_ point, fit, share float64) {
	px := float64(p.coarse.f)
	x, y, fit, share := tr.broad.track(broad, at.X/px, at.Y/px, roughRest)
	return point{x * px, y * px}, fit, share
}

// exact is what comes after rough for a loaded frame that fits.
func (p *follower) exact(tr *template, s *scratch, at point, fit float64) point {
	if fit < fitNothing {
		return at
	}
	px := float64(p.fine.f)
	x, y, _, _ := tr.near.track(p.near(s), at.X/px, at.Y/px, nearRest)
	return point{x * px, y * px}
}

// meanOf returns the mean of views that lie at displacements, and the share of
// them (0…1) behind each pixel.
func meanOf(s scale, views [][]float32, at []point) (mean, cover []float32, w, h int) {
	n := s.w * s.h
	sum, cover, moved := make([]float32, n), make([]float32, n), make([]float32, n)
	for k, b := range views {
		translate(moved, b, s.w, s.h, at[k].X, at[k].Y)
		for i, v := range moved {
			if v == v {
				sum[i] += v
				cover[i]++
			}
		}
	}
	for i := range sum {
		if cover[i] > 0 {
			sum[i] /= cover[i]
		}
		cover[i] /= float32(len(views))
	}
	return sum, cover, s.w, s.h
}
