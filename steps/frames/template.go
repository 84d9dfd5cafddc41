package frames

import (
	"context"

	"plenilune/pipeline"
)

// point is a displacement in pixels.
type point struct{ X, Y float64 }

// template is what frames are tracked against.
type template struct{ broad, fine *tracker }

// newTemplate tracks the best frames against their own mean, twice, and returns
// the mean: the track then leans on no single frame's distortion. at holds the
// frames' displacements against the reference and is improved.
func (p *follower) newTemplate(ctx context.Context, t *pipeline.Task, frames []int, at []point) (*template, error) {
	views := make([]bands, len(frames))
	if err := p.each(ctx, t, frames, func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		n := p.tw * p.th
		views[k] = bands{make([]float32, n), make([]float32, n)}
		s.track.split(views[k], s.small)
		return nil
	}); err != nil {
		return nil, err
	}
	tr := p.meanOf(views, at)
	for range 2 {
		if err := t.Each(ctx, len(views), func(k int) error {
			at[k], _, _ = p.track(tr, views[k], at[k])
			return nil
		}); err != nil {
			return nil, err
		}
		tr = p.meanOf(views, at)
	}
	return tr, nil
}

// track improves a displacement, in pixels of the frame, by the broad and then by
// the fine band, and returns how well the broad one fits.
func (p *follower) track(tr *template, b bands, at point) (_ point, fit, share float64) {
	px := float64(p.f)
	x, y, fit, share := tr.broad.track(b.broad, at.X/px, at.Y/px, roughRest)
	if fit >= fitNothing {
		x, y, _, _ = tr.fine.track(b.fine, x, y, trackRest)
	}
	return point{x * px, y * px}, fit, share
}

func (p *follower) meanOf(views []bands, at []point) *template {
	broad := make([][]float32, len(views))
	fine := make([][]float32, len(views))
	for k, b := range views {
		broad[k], fine[k] = b.broad, b.fine
	}
	return &template{p.meanBand(broad, at), p.meanBand(fine, at)}
}

func (p *follower) meanBand(band [][]float32, at []point) *tracker {
	n := p.tw * p.th
	sum, cover, moved := make([]float32, n), make([]float32, n), make([]float32, n)
	for k, b := range band {
		translate(moved, b, p.tw, p.th, at[k].X/float64(p.f), at[k].Y/float64(p.f))
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
		cover[i] /= float32(len(band))
	}
	return newTracker(sum, cover, p.tw, p.th)
}
