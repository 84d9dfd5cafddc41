package frames

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

const (
	masterClip   = 3.0 // sigma
	masterRounds = 2   // passes that leave values out, after the one that leaves none out
	masterBatch  = 8   // frames decoded at once
	bandRows     = 64  // rows that one goroutine sums
)

// moments are a pixel's running sums.
type moments struct{ n, sum, sq []float64 }

// clippedMean returns the mean over all frames without what lies over masterClip
// standard deviations off, found again with each round: a satellite or a cosmic ray
// leaves no trace. Frames stream: memory does not grow with their number.
func clippedMean(ctx context.Context, t *pipeline.Task, c *clip) (*plane.Image, error) {
	w, h := c.lay.Width, c.lay.Height
	mean, limit := c.newFrame(), c.newFrame()
	var batch [masterBatch]*plane.Image
	for k := range batch {
		batch[k] = c.newFrame()
	}
	m := make([]moments, c.lay.Planes)
	for p := range m {
		m[p] = moments{make([]float64, w*h), make([]float64, w*h), make([]float64, w*h)}
	}
	bands := (h + bandRows - 1) / bandRows
	for round := range masterRounds + 1 {
		for p := range m {
			clear(m[p].n)
			clear(m[p].sum)
			clear(m[p].sq)
		}
		for at := 0; at < c.n; at += masterBatch {
			n := min(masterBatch, c.n-at)
			if err := t.Each(ctx, n, func(k int) error { return c.frame(at+k, batch[k]) }); err != nil {
				return nil, err
			}
			if err := t.Each(ctx, bands, func(b int) error {
				lo, hi := b*bandRows*w, min(h, (b+1)*bandRows)*w
				for p := range m {
					for k := range n {
						m[p].add(batch[k].Pix[p], mean.Pix[p], limit.Pix[p], lo, hi, round == 0)
					}
				}
				return nil
			}); err != nil {
				return nil, err
			}
			t.Progress((float64(round) + float64(at+n)/float64(c.n)) / (masterRounds + 1))
		}
		for p := range m {
			m[p].settle(mean.Pix[p], limit.Pix[p])
		}
	}
	return mean, nil
}

func (m moments) add(v, mean, limit []float32, lo, hi int, all bool) {
	for i := lo; i < hi; i++ {
		d := v[i] - mean[i]
		if all || d <= limit[i] && -d <= limit[i] {
			x := float64(v[i])
			m.n[i]++
			m.sum[i] += x
			m.sq[i] += float64(x * x)
		}
	}
}

// settle turns sums into means and limits. A pixel without any scatter keeps its mean.
func (m moments) settle(mean, limit []float32) {
	for i, n := range m.n {
		if n == 0 {
			continue
		}
		a := m.sum[i] / n
		v := max(0, m.sq[i]/n-float64(a*a))
		mean[i] = float32(a)
		limit[i] = float32(masterClip*math.Sqrt(v)) + 1e-6
	}
}
