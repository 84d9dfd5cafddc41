package frames

import (
	"context"
	"sync"

	"plenilune/pipeline"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/plane"
)

const (
	coarseSide   = 256 // px: frames are found at a scale at which no side is longer
	fineSide     = 400 // px: and tracked at one at which no side is longer: along a limb only finer detail tells
	looksBlock   = 8   // px: blocks of a frame's own levels and energy
	templateBest = 12  // frames in the mean that the others are tracked against
	refCentral   = 0.2 // of the field: the reference lies no further from the drift's middle
)

// scale is a size at which frames are looked at.
type scale struct {
	f    int // px of the frame to one of this scale, along either side
	w, h int
}

func scaleFor(w, h, side int) scale {
	f := max(1, (max(w, h)+side-1)/side)
	return scale{f, w / f, h / f}
}

func (s scale) pixels() []float32 { return make([]float32, s.w*s.h) }

// follower reads a clip's frames: a sample first, from which what the others are
// tracked against is made, then every frame once.
type follower struct {
	c            *clip
	w, h         int // of the frames
	coarse, fine scale
	noise        noiseModel
	far          *finder   // finds frames anywhere, against the sample's sharpest
	fade         []float32 // of what it sees, towards the borders
	pool         sync.Pool
}

// scratch is what one goroutine needs to look at a frame.
type scratch struct {
	raw               []byte // the frame as it lies in the file
	img               *plane.Image
	luma              []float32 // may be the picture itself
	coarse, fine      []float32 // at the scales; fine may be luma itself
	coarseBand, faint []float32
	fineBand          []float32
	broad, near       *bander
	sums              *blockSums
	levels            []float32
	far               *finder
}

func newFollower(c *clip) *follower {
	w, h := c.lay.Width, c.lay.Height
	p := &follower{c: c, w: w, h: h, coarse: scaleFor(w, h, coarseSide), fine: scaleFor(w, h, fineSide)}
	p.fade = fadeOut(p.coarse.w, p.coarse.h, fadeWidth)
	p.pool.New = func() any { return p.newScratch() }
	return p
}

func (p *follower) newScratch() *scratch {
	s := &scratch{raw: make([]byte, p.c.lay.FrameBytes()), img: p.c.newFrame(),
		coarse: p.coarse.pixels(), coarseBand: p.coarse.pixels(), faint: p.coarse.pixels(), fineBand: p.fine.pixels(),
		broad: newBander(p.coarse.w, p.coarse.h, 1, 4), near: newBander(p.fine.w, p.fine.h, 0, 3),
		sums: newBlockSums(p.w, p.h, p.side())}
	s.luma = s.img.Pix[0]
	if s.img.Channels() > 1 || p.c.mosaicked() {
		s.luma = make([]float32, p.w*p.h)
	}
	s.fine = s.luma
	if p.fine.f > 1 {
		s.fine = p.fine.pixels()
	}
	return s
}

// load brings frame i's luma into s, and at the coarse scale.
func (p *follower) load(i int, s *scratch) error {
	if err := p.c.frameBy(s.raw, i, s.img); err != nil {
		return err
	}
	if s.img.Channels() > 1 || p.c.mosaicked() {
		luma(s.luma, s.img, p.c.mosaicked())
	}
	filter.Shrink(s.coarse, s.luma, p.w, p.h, p.coarse.f)
	return nil
}

// broad brings into s.coarseBand what tells places apart at the coarse scale, where
// noise and blur do little: by it frames are found, and judged whether they fit.
func (p *follower) broad(s *scratch) []float32 {
	s.broad.detail(s.coarseBand, s.coarse)
	return s.coarseBand
}

// fadeWidth is over how many pixels views fade out towards their borders, so that
// what enters and leaves does not look like an edge of the Moon.
const fadeWidth = 6

func fadeOut(w, h, n int) []float32 {
	out := make([]float32, w*h)
	for y := range h {
		for x := range w {
			out[y*w+x] = min(1, (float32(min(x, y, w-1-x, h-1-y))+0.5)/float32(n))
		}
	}
	return out
}

// faded writes a coarse view as a finder wants it.
func (p *follower) faded(dst, broad []float32) []float32 {
	for i, k := range p.fade {
		dst[i] = k * broad[i]
	}
	return dst
}

// find returns where a coarse view fits that of the frame that p.far knows, best
// first, in pixels of the coarse scale.
func (p *follower) find(s *scratch, broad []float32) []place {
	if s.far == nil || s.far.plan != p.far.plan {
		s.far = p.far.worker()
	}
	return s.far.find(p.faded(s.faint, broad))
}

// near brings into s.fineBand what places a loaded frame better than broad, if it is not lost in noise.
func (p *follower) near(s *scratch) []float32 {
	if p.fine.f > 1 {
		filter.Shrink(s.fine, s.luma, p.w, p.h, p.fine.f)
	}
	s.near.detail(s.fineBand, s.fine)
	return s.fineBand
}

// each runs fn for the given frames with a scratch of its own.
func (p *follower) each(ctx context.Context, t *pipeline.Task, frames []int, fn func(k, i int, s *scratch) error) error {
	return t.Each(ctx, len(frames), func(k int) error {
		s := p.pool.Get().(*scratch)
		defer p.pool.Put(s)
		if err := ctx.Err(); err != nil {
			return err
		}
		return fn(k, frames[k], s)
	})
}

// spread returns at most n of total, evenly.
func spread(total, n int) []int {
	n = min(n, total)
	out := make([]int, n)
	for k := range out {
		out[k] = (2*k + 1) * total / (2 * n)
	}
	return out
}

// energyNoise returns what noise adds to the mean squared gradient at a level.
func (p *follower) energyNoise(level float64) float64 {
	if p.c.mosaicked() {
		return p.noise.at(level) * energyNoiseMosaic
	}
	return p.noise.at(level) * energyNoise
}
