package mosaic

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

// runJoin draws the joined picture, and beside it its weight, its noise, how many panels show each place and which of
// them counts most.
func runJoin(ctx context.Context, t *pipeline.Task) error {
	g, sheets, err := readSheets(t)
	if err != nil {
		return err
	}
	channels := 1
	for _, s := range sheets {
		if s != nil {
			channels = max(channels, s.channels)
		}
	}
	tiles := pipeline.PlaneTiles(g.Width, g.Height)
	for _, r := range tiles {
		for _, s := range touching(sheets, drawnFor(r)) {
			s.left.Add(1)
		}
	}
	return t.WritePlanes(ctx, g.Width, g.Height, planesOf(channels), func(r image.Rectangle, dst [][][]float32) error {
		t.Progress(float64(r.Min.Y) / float64(g.Height))
		return drawTile(sheets, r, dst)
	})
}

// readSheets reads how the panels are laid, and what each is evened by.
func readSheets(t *pipeline.Task) (g geometry, sheets []*sheet, err error) {
	var lv levelsTable
	var sharp sharpTable
	if err := errors.Join(t.One("geometry").Table(&g), t.One("levels").Table(&lv), t.One("sharpness").Table(&sharp)); err != nil {
		return g, nil, err
	}
	tables, err := readTables(t)
	if err != nil {
		return g, nil, err
	}
	sheets, err = sheetsOf(t, g, lv, sharp.Panels, tables)
	return g, sheets, err
}

// sheetsOf prepares the placed panels; the others stay nil.
func sheetsOf(t *pipeline.Task, g geometry, lv levelsTable, sharp []sharpness, tables []panelTable) ([]*sheet, error) {
	in, weights, fulls, noises := t.In("image"), t.In("weight"), t.In("full"), t.In("noise")
	n := len(g.Panels)
	for _, k := range [...]int{len(in), len(lv.Levels), len(sharp), len(tables), len(weights), len(fulls), len(noises)} {
		if k != n {
			return nil, errors.New("the table of placements does not fit the panels")
		}
	}
	sheets := make([]*sheet, n)
	var usual []float64
	for i, p := range g.Panels {
		if !p.Placed {
			continue
		}
		r, err := in[i].Plane()
		if err != nil {
			return nil, fmt.Errorf("open panel %d: %w", i+1, err)
		}
		if err := p.Globe.ready(); err != nil {
			return nil, fmt.Errorf("panel %d: %w", i+1, err)
		}
		s := &sheet{index: i, from: sources{in[i], weights[i], fulls[i], noises[i]}, toPanel: p.toMosaic().inverse(), globe: p.Globe, bend: p.Bend,
			falloff: lv.falloff(i), levels: lv.of(i), sharp: sharp[i], box: boundsOf(p), noise: cmp.Or(tables[i].ChannelSigma, tables[i].NoiseSigma)}
		s.w, s.h, s.channels = r.Size()
		s.glows = lv.glows(i, s.channels)
		if err := r.Close(); err != nil {
			return nil, fmt.Errorf("close panel %d: %w", i+1, err)
		}
		sheets[i] = s
		s.loud = s.noise * lv.Levels[i].Factor
		usual = append(usual, s.loud)
	}
	for _, s := range sheets {
		if s != nil {
			s.steady = steadiness(s.loud, robust.Median(usual))
		}
	}
	return sheets, nil
}

// steadiness is how much the detail of a panel counts whose noise has a standard deviation of sigma, in the common
// brightness, where it is usual in the others: up to twice that all are alike, since what the air leaves is worse; far
// beyond, by the inverse of the variance.
func steadiness(sigma, usual float64) float32 {
	if !(usual > 0) {
		return 1
	}
	q := sigma / usual
	return float32(1 / max(1, float64(q*q)-3))
}
