package mosaic

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
)

// runJoin draws the joined picture, its weight and which panel counts most where.
func runJoin(ctx context.Context, t *pipeline.Task) error {
	var g geometry
	var lv levelsTable
	var sharp sharpTable
	if err := errors.Join(t.One("geometry").Table(&g), t.One("levels").Table(&lv), t.One("sharpness").Table(&sharp)); err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	sheets, err := openSheets(ctx, t, g, lv.Levels, sharp.Panels)
	for i, s := range sheets {
		if s != nil && i < len(tables) {
			s.noise = cmp.Or(tables[i].ChannelSigma, tables[i].NoiseSigma)
		}
	}
	defer func() {
		for _, s := range sheets {
			if s != nil {
				s.pixels.Close()
			}
		}
	}()
	if err != nil {
		return err
	}
	channels := 1
	for _, s := range sheets {
		if s != nil {
			channels = max(channels, s.channels)
		}
	}
	write := func(port string, c int, draw func(r image.Rectangle) ([][]float32, error)) error {
		return t.WritePlane(ctx, port, g.Width, g.Height, c, func(r image.Rectangle, dst [][]float32) error {
			drawn, err := draw(r)
			if err != nil {
				return err
			}
			for k, p := range drawn {
				copy(dst[k], p)
			}
			return nil
		})
	}
	if err := write("image", channels, func(r image.Rectangle) ([][]float32, error) { return drawImage(sheets, r, channels) }); err != nil {
		return err
	}
	t.Progress(0.8)
	if err := write("weight", 1, func(r image.Rectangle) ([][]float32, error) { return [][]float32{drawWeight(sheets, r)}, nil }); err != nil {
		return err
	}
	return write("source", 1, func(r image.Rectangle) ([][]float32, error) { return [][]float32{drawSource(sheets, r)}, nil })
}

// openSheets prepares the placed panels; the others stay nil.
func openSheets(ctx context.Context, t *pipeline.Task, g geometry, lv []level, sharp []sharpness) ([]*sheet, error) {
	in, weights := t.In("image"), t.In("weight")
	if len(in) != len(g.Panels) || len(lv) != len(in) || len(sharp) != len(in) || len(weights) != len(in) {
		return nil, errors.New("the table of placements does not fit the panels")
	}
	sheets := make([]*sheet, len(in))
	err := t.Each(ctx, len(in), func(i int) error {
		p := g.Panels[i]
		if !p.Placed {
			return nil
		}
		r, err := in[i].Plane()
		if err != nil {
			return err
		}
		s := &sheet{index: i, pixels: r, toPanel: p.toMosaic().inverse(), globe: p.Globe, bend: p.Bend, level: lv[i], sharp: sharp[i]}
		s.w, s.h, s.channels = r.Size()
		sheets[i] = s
		if err := s.globe.ready(); err != nil {
			return fmt.Errorf("panel %d: %w", i+1, err)
		}
		x0, y0, x1, y1 := s.globe.bounds(p.toMosaic(), p.W, p.H)
		s.box = image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(math.Ceil(x1))+1, int(math.Ceil(y1))+1)
		v := make([]float32, s.w*s.h)
		if err := r.ReadRect(0, image.Rect(0, 0, s.w, s.h), v); err != nil {
			return fmt.Errorf("read panel %d: %w", i+1, err)
		}
		weight, err := readPanel(weights[i])
		if err != nil {
			return fmt.Errorf("read weight of panel %d: %w", i+1, err)
		}
		if weight.w != s.w || weight.h != s.h {
			return fmt.Errorf("the weight of panel %d has another size than the panel", i+1)
		}
		s.voice = voiceOf(v, weight.v, s.w, s.h)
		return nil
	})
	return sheets, err
}
