package detail

import (
	"context"
	"fmt"
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// openPicture opens a part's picture, of which its channels are read one after the other.
func openPicture(t *pipeline.Task) (*pipeline.PlaneReader, error) {
	p, err := t.One("image").Plane()
	if err != nil {
		return nil, fmt.Errorf("read the picture: %w", err)
	}
	p.Keep(0)
	return p, nil
}

// readTile reads a rectangle of every channel.
func readTile(p *pipeline.PlaneReader, r image.Rectangle, dst [][]float32) error {
	for c := range dst {
		if err := p.ReadRect(c, r, dst[c]); err != nil {
			return fmt.Errorf("read the picture: %w", err)
		}
	}
	return nil
}

// luminance is the mean of channels of one size; for one channel, that channel itself.
func luminance(pix [][]float32) []float32 { return plane.Of(len(pix[0]), 1, pix...).Luminance() }

// readLuminance returns the luminance of a part's picture. No more of its channels is held than the tiles in work.
func readLuminance(ctx context.Context, t *pipeline.Task) (lum []float32, w, h int, err error) {
	p, err := openPicture(t)
	if err != nil {
		return nil, 0, 0, err
	}
	defer p.Close()
	w, h, _ = p.Size()
	lum = make([]float32, w*h)
	return lum, w, h, eachTile(ctx, t, p, func(r image.Rectangle, own []float32) { paste(lum, w, r, own) })
}

// cut returns the rectangle r of a plane w wide.
func cut(plane []float32, w int, r image.Rectangle) []float32 {
	out := make([]float32, 0, r.Dx()*r.Dy())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		out = append(out, plane[y*w+r.Min.X:y*w+r.Max.X]...)
	}
	return out
}

// paste writes the rectangle r of a plane w wide.
func paste(plane []float32, w int, r image.Rectangle, own []float32) {
	for y := range r.Dy() {
		copy(plane[(r.Min.Y+y)*w+r.Min.X:], own[y*r.Dx():(y+1)*r.Dx()])
	}
}

// eachTile gives fn the luminance of a picture, tile by tile, several at once.
func eachTile(ctx context.Context, t *pipeline.Task, p *pipeline.PlaneReader, fn func(r image.Rectangle, lum []float32)) error {
	w, h, channels := p.Size()
	tiles := pipeline.PlaneTiles(w, h)
	return t.Each(ctx, len(tiles), func(i int) error {
		r := tiles[i]
		pix := plane.New(r.Dx(), r.Dy(), channels).Pix
		if err := readTile(p, r, pix); err != nil {
			return err
		}
		fn(r, luminance(pix))
		return nil
	})
}
