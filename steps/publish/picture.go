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

	quality int // of a JPEG file; below leastQuality, no quality was low enough

	over   int       // samples above full scale, which whole numbers cannot hold
	decode []float64 // light of sRGB values
	small  *shrinker // nil where the file is as large as the source
}

func newPicture(ctx context.Context, src *pipeline.PlaneReader, s encodeSettings, progress func(float64)) *picture {
	p := &picture{ctx: ctx, src: src, s: s, progress: progress, from: -1}
	p.sw, p.sh, p.c = src.Size()
	p.w, p.h = p.sw, p.sh
	if long := max(p.sw, p.sh); s.LongEdgePx > 0 && s.LongEdgePx < long {
		p.w = max(1, int(math.Round(float64(p.sw)*float64(s.LongEdgePx)/float64(long))))
		p.h = max(1, int(math.Round(float64(p.sh)*float64(s.LongEdgePx)/float64(long))))
		p.small = newShrinker(p.sw, p.sh, p.w, p.h)
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
// stored: linear light, or sRGB values. Asking for rows in order is fastest.
func (p *picture) row(y int, dst []float32) error {
	if p.small == nil {
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
