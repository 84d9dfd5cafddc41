package publish

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
)

// band is how many rows of the source are read at once: as many as a stored tile has.
const band = 256

// picture gives the rows of a stored plane, made smaller if asked for.
type picture struct {
	ctx      context.Context
	src      *pipeline.PlaneReader
	s        encodeSettings
	progress func(float64)
	each     func(n int, fn func(i int) error) error // runs several at once; nil one after the other
	sw, sh   int                                     // of the source
	w, h, c  int                                     // of the file

	from int // first source row held
	rows [][]float32

	over   int       // samples above full scale, which whole numbers cannot hold
	decode []float64 // light of sRGB values, for the averages of smallRow
}

func newPicture(ctx context.Context, src *pipeline.PlaneReader, s encodeSettings, progress func(float64)) *picture {
	p := &picture{ctx: ctx, src: src, s: s, progress: progress, from: -1}
	p.sw, p.sh, p.c = src.Size()
	p.w, p.h = p.sw, p.sh
	if long := max(p.sw, p.sh); s.LongEdgePx > 0 && s.LongEdgePx < long {
		p.w = max(1, int(math.Round(float64(p.sw)*float64(s.LongEdgePx)/float64(long))))
		p.h = max(1, int(math.Round(float64(p.sh)*float64(s.LongEdgePx)/float64(long))))
	}
	return p
}

// sourceRow returns row y of channel c of the source.
func (p *picture) sourceRow(c, y int) ([]float32, error) {
	if b := y / band * band; b != p.from {
		if err := p.ctx.Err(); err != nil {
			return nil, err
		}
		p.progress(float64(y) / float64(p.sh))
		r := image.Rect(0, b, p.sw, min(b+band, p.sh))
		p.rows = make([][]float32, p.c)
		for k := range p.rows {
			p.rows[k] = make([]float32, r.Dx()*r.Dy())
			if err := p.src.ReadRect(k, r, p.rows[k]); err != nil {
				return nil, fmt.Errorf("read rows from %d: %w", b, err)
			}
		}
		p.from = b
	}
	return p.rows[c][(y-p.from)*p.sw : (y-p.from+1)*p.sw], nil
}

// row fills dst with row y of the file, the channels of a pixel side by side, as
// stored: linear light, or sRGB values. Rows must be asked for from the top.
func (p *picture) row(y int, dst []float32) error {
	if p.w == p.sw && p.h == p.sh {
		for c := range p.c {
			src, err := p.sourceRow(c, y)
			if err != nil {
				return err
			}
			for x, v := range src {
				dst[x*p.c+c] = v
			}
		}
		return nil
	}
	return p.smallRow(y, dst)
}

// smallRow averages the source over the area of each pixel, in linear light.
// Pixels without data do not count.
func (p *picture) smallRow(y int, dst []float32) error {
	sum, weight := make([]float64, p.w*p.c), make([]float64, p.w*p.c)
	y0, y1 := float64(y)*float64(p.sh)/float64(p.h), float64(y+1)*float64(p.sh)/float64(p.h)
	kx := float64(p.sw) / float64(p.w)
	for sy := int(y0); sy < p.sh && float64(sy) < y1; sy++ {
		wy := math.Min(y1, float64(sy+1)) - math.Max(y0, float64(sy))
		for c := range p.c {
			src, err := p.sourceRow(c, sy)
			if err != nil {
				return err
			}
			for x := range p.w {
				x0, x1 := float64(x)*kx, float64(x+1)*kx
				for sx := int(x0); sx < p.sw && float64(sx) < x1; sx++ {
					if v := float64(src[sx]); v == v {
						wx := float64(wy * (math.Min(x1, float64(sx+1)) - math.Max(x0, float64(sx))))
						sum[x*p.c+c] += float64(wx * p.light(v))
						weight[x*p.c+c] += wx
					}
				}
			}
		}
	}
	for i := range dst {
		dst[i] = float32(math.NaN())
		if weight[i] > 0 {
			dst[i] = float32(p.stored(sum[i] / weight[i]))
		}
	}
	return nil
}
