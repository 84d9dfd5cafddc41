package frames

import (
	"context"

	"plenilune/pipeline"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

const (
	masterClip  = 3.0 // sigma
	masterBatch = 8   // frames decoded at once
	bandRows    = 64  // rows that one goroutine sums

	hotSigma = 8     // over the scatter of a dark's pixels about their neighbours (common practice, no source)
	hotLeast = 0.002 // of white: less does no harm
)

// clippedMean returns the mean over all frames without what lies too far off: a
// satellite or a cosmic ray leaves no trace. Frames stream: memory does not grow
// with their number.
func clippedMean(ctx context.Context, t *pipeline.Task, c *clip) (*plane.Image, error) {
	mean := calibrate.NewMean(c.lay.Width, c.lay.Height, c.lay.Planes)
	var batch [masterBatch]*plane.Image
	for k := range batch {
		batch[k] = c.newFrame()
	}
	bands := (c.lay.Height + bandRows - 1) / bandRows
	for pass := range 2 {
		for at := 0; at < c.n; at += masterBatch {
			n := min(masterBatch, c.n-at)
			if err := t.Each(ctx, n, func(k int) error { return c.frame(at+k, batch[k]) }); err != nil {
				return nil, err
			}
			if err := t.Each(ctx, bands, func(b int) error {
				for k := range n {
					mean.Add(batch[k], b*bandRows, min(c.lay.Height, (b+1)*bandRows))
				}
				return nil
			}); err != nil {
				return nil, err
			}
			t.Progress(0.5 * (float64(pass) + float64(at+n)/float64(c.n)))
		}
		if pass == 0 {
			mean.Limit(masterClip)
		}
	}
	return mean.Image(), nil
}
