package frames

import (
	"context"

	"plenilune/pipeline"
)

// point is a displacement in pixels.
type point struct{ X, Y float64 }

// template tracks the best frames against their own mean, twice, and returns the
// mean. at holds the frames' displacements against the reference and is improved.
func (p *follower) template(ctx context.Context, t *pipeline.Task, frames []int, at []point) (*tracker, error) {
	bands := make([][]float32, len(frames))
	if err := p.each(ctx, t, frames, func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		p.trackBand(s)
		bands[k] = append([]float32(nil), s.band...)
		return nil
	}); err != nil {
		return nil, err
	}
	tr := p.meanOf(bands, at)
	for range 2 {
		moved := make([]float32, p.tw*p.th)
		for k := range bands {
			at[k], _, _ = p.trackOne(tr, bands[k], moved, at[k])
		}
		tr = p.meanOf(bands, at)
	}
	return tr, nil
}

// trackOne improves a displacement, in pixels of the frame.
func (p *follower) trackOne(tr *tracker, band, moved []float32, at point) (point, float64, float64) {
	px := float64(p.f)
	x, y, fit, share := tr.track(band, moved, at.X/px, at.Y/px)
	return point{x * px, y * px}, fit, share
}

func (p *follower) meanOf(bands [][]float32, at []point) *tracker {
	n := p.tw * p.th
	sum, cover, moved := make([]float32, n), make([]float32, n), make([]float32, n)
	for k, b := range bands {
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
		cover[i] /= float32(len(bands))
	}
	return newTracker(sum, cover, p.tw, p.th)
}
