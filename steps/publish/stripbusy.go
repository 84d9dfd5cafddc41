package publish

import (
	"context"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

const (
	busySquare = 512 // px that are looked at at once
	busyReach  = 16  // px about them that their smoothing needs
	busyCells  = 8   // along a crop's side
	// From where on ground counts as lit, as a share of the way from the sky to the brightest ground, and how much of a crop is
	// to be lit: enough is dark beside the terminator.
	litFrom, litLeast = 0.06, 0.7
	// What more contrast counts for no more than, so that the steps at the limb and at shadows do not outdo relief.
	contrastMost = 0.3
	limbOff      = 8.0 // px that a crop keeps off the limb, which is never sharp
)

func luminance(pix [][]float32) []float32 {
	return plane.Of(len(pix[0]), 1, pix...).Luminance()
}

// squares reads the luminance of a rectangle piece by piece, each a whole number of cells a side, with reach pixels about it where
// the picture has them: r is the piece, lum that of all.
func squares(ctx context.Context, p *pipeline.PlaneReader, box image.Rectangle, cell, reach int, each func(r, all image.Rectangle, lum []float32)) error {
	w, h, _ := p.Size()
	side := max(1, busySquare/cell) * cell
	for y := box.Min.Y; y < box.Max.Y; y += side {
		for x := box.Min.X; x < box.Max.X; x += side {
			if err := ctx.Err(); err != nil {
				return err
			}
			r := image.Rect(x, y, x+side, y+side).Intersect(box)
			all := r.Inset(-reach).Intersect(image.Rect(0, 0, w, h))
			pix, err := cropOf(p, all)
			if err != nil {
				return err
			}
			each(r, all, luminance(pix))
		}
	}
	return nil
}

// ground holds what cells of a picture are, as tables of sums.
type ground struct {
	from       image.Point // of the first cell
	cell       int         // px a side
	cols, rows int
	// Of each cell the relief, the share that is lit, whether all of it is dark, and whether it lacks data.
	relief, lit, dark, missing []float64
}

// lookAt tells the relief of every cell: the root of the mean contrast of 2 to 8 px against the brightness about it, as the eye
// sees it, so that the ground beside the terminator, with its shadows, counts more than bright ground. By the root, a whole square
// of relief counts more than one crater or a sea's edge.
func lookAt(ctx context.Context, p *pipeline.PlaneReader, box image.Rectangle, cell int) (*ground, error) {
	var some []float32
	if err := squares(ctx, p, box, cell, 0, func(r, _ image.Rectangle, lum []float32) {
		for y := 0; y < r.Dy(); y += 7 {
			for x := 0; x < r.Dx(); x += 7 {
				some = append(some, lum[y*r.Dx()+x])
			}
		}
	}); err != nil {
		return nil, err
	}
	q := robust.Quantiles(some, 0.01, 0.99)
	sky, span := float32(q[0]), float32(q[1]-q[0])
	g := &ground{from: box.Min, cell: cell, cols: box.Dx() / cell, rows: box.Dy() / cell}
	n := g.cols * g.rows
	relief, lit, dark, missing := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	err := squares(ctx, p, box, cell, busyReach, func(r, all image.Rectangle, lum []float32) {
		contrast := contrasts(lum, all.Dx(), all.Dy(), sky, span)
		for y := r.Min.Y; y+cell <= r.Max.Y; y += cell {
			for x := r.Min.X; x+cell <= r.Max.X; x += cell {
				sum, bright, lacks := 0.0, 0, 0
				for v := y; v < y+cell; v++ {
					for i := (v-all.Min.Y)*all.Dx() + x - all.Min.X; i < (v-all.Min.Y)*all.Dx()+x-all.Min.X+cell; i++ {
						sum += float64(contrast[i])
						if lum[i] != lum[i] {
							lacks++
						} else if lum[i] > sky+float32(litFrom*span) {
							bright++
						}
					}
				}
				at := (y-box.Min.Y)/cell*g.cols + (x-box.Min.X)/cell
				relief[at] = float32(math.Sqrt(sum / float64(cell*cell)))
				lit[at] = float32(bright) / float32(cell*cell)
				if bright == 0 {
					dark[at] = 1
				}
				if lacks > 0 {
					missing[at] = 1
				}
			}
		}
	})
	g.relief, g.lit, g.dark, g.missing = sums(relief, g.cols, g.rows), sums(lit, g.cols, g.rows), sums(dark, g.cols, g.rows), sums(missing, g.cols, g.rows)
	return g, err
}

// contrasts returns that of each pixel between 2 and 8 px, at most contrastMost, against the brightness about it.
func contrasts(lum []float32, w, h int, sky, span float32) []float32 {
	out, broad, tmp := make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
	for i, v := range lum {
		if out[i] = v; v != v {
			out[i] = sky
		}
	}
	wavelet.Smooth(broad, out, tmp, w, h, 1)
	wavelet.Smooth(out, broad, tmp, w, h, 2)
	wavelet.Smooth(tmp, out, make([]float32, w*h), w, h, 4)
	dim := max(float32(0.1*span), 1e-9)
	for i, v := range tmp {
		out[i] = min(contrastMost, float32(math.Abs(float64(broad[i]-v)))/(max(v-sky, 0)+dim))
	}
	return out
}

// busiest returns the middle, in the finished picture, of the square of size pixels with most relief. One that reaches beyond
// the limb, with little light, or with a place without data, is taken only where there is no other.
func busiest(ctx context.Context, p *pipeline.PlaneReader, l lay, box image.Rectangle, size int) (x, y float64, err error) {
	cell := max(1, size/busyCells)
	g, err := lookAt(ctx, p, box, cell)
	if err != nil {
		return 0, 0, err
	}
	from, err := l.fromSource()
	if err != nil {
		return 0, 0, err
	}
	half, n := float64(float64(size-1)/2), size/cell
	x, y = float64(float64(l.W-1)/2), float64(float64(l.H-1)/2)
	top := -1.0
	for v := 0; v+n <= g.rows; v++ {
		for u := 0; u+n <= g.cols; u++ {
			a, b := from.Apply(float64(g.from.X+u*cell)+half, float64(g.from.Y+v*cell)+half)
			if a-half < -float64(cell) || b-half < -float64(cell) || a+half > float64(l.W+cell) || b+half > float64(l.H+cell) {
				continue
			}
			score := g.score(u, v, n, l.Disk.Found)
			if l.Disk.beyond(a, b, half) {
				score *= 0.05
			}
			if score > top {
				top, x, y = score, a, b
			}
		}
	}
	return x, y, nil
}

// beyond tells whether a square about (x, y) reaches over the limb.
func (d disk) beyond(x, y, half float64) bool {
	dx, dy := math.Abs(x-d.X)+half, math.Abs(y-d.Y)+half
	return d.Found && math.Sqrt(float64(dx*dx)+float64(dy*dy)) > d.Radius-limbOff
}

// score is what n by n cells are worth.
func (g *ground) score(u, v, n int, limb bool) float64 {
	all := float64(n * n)
	s := boxSum(g.relief, g.cols, u, v, n) / all
	if share := boxSum(g.lit, g.cols, u, v, n) / all; share < litLeast {
		s *= 0.1 * share
	}
	if !limb && boxSum(g.dark, g.cols, u, v, n) > 0 { // shadow, or sky beyond the limb: who knows
		s *= 0.1
	}
	if boxSum(g.missing, g.cols, u, v, n) > 0 {
		s *= 0.01
	}
	return s
}
