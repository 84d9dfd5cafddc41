package frames

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"

	"plenilune/pipeline"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

const (
	trackSide    = 400 // px: frames are tracked at a scale at which no side is longer
	coarseSide   = 256 // px: and found at one at which no side is longer
	looksBlock   = 8   // px: blocks of the first pass's energy and level
	templateBest = 12  // frames in the mean that the others are tracked against
	refCentral   = 0.2 // of the field: the reference lies no further from the drift's middle
)

// follower looks at every frame of a clip twice: first to find and to judge it,
// then to track and to grade it against a mean of the best.
type follower struct {
	c         *clip
	w, h      int // of the frames
	f, tw, th int // tracking scale
	g, cw, ch int // coarse scale, of the tracking scale
	noise     noiseModel
	pool      sync.Pool
}

// scratch is what one goroutine needs to look at a frame.
type scratch struct {
	img                *plane.Image
	luma, small        []float32
	views              bands
	coarse, coarseBand []float32
	track, find        *bander
	sums               *blockSums
	raw                []byte
	finder             *finder
}

func newFollower(c *clip) *follower {
	w, h := c.lay.Width, c.lay.Height
	p := &follower{c: c, w: w, h: h}
	p.f = max(1, (max(w, h)+trackSide-1)/trackSide)
	p.tw, p.th = w/p.f, h/p.f
	p.g = max(1, (max(p.tw, p.th)+coarseSide-1)/coarseSide)
	p.cw, p.ch = p.tw/p.g, p.th/p.g
	p.pool.New = func() any {
		n, m := p.tw*p.th, p.cw*p.ch
		return &scratch{img: c.newFrame(), luma: make([]float32, w*h),
			small: make([]float32, n), views: bands{make([]float32, n), make([]float32, n)},
			coarse: make([]float32, m), coarseBand: make([]float32, m),
			track: newBander(p.tw, p.th), find: newBander(p.cw, p.ch),
			sums: newBlockSums(w, h, looksBlock), raw: make([]byte, c.lay.FrameBytes())}
	}
	return p
}

// load brings frame i's luma and its two bands into s.
func (p *follower) load(i int, s *scratch) error {
	if err := p.c.frame(i, s.img); err != nil {
		return err
	}
	luma(s.luma, s.img, p.c.mosaicked())
	filter.Shrink(s.small, s.luma, p.w, p.h, p.f)
	return nil
}

func (p *follower) findBand(s *scratch) {
	filter.Shrink(s.coarse, s.small, p.tw, p.th, p.g)
	s.find.detail(s.coarseBand, s.coarse)
	edgeTaper(s.coarseBand, p.cw, p.ch, 6)
}

// edgeTaper fades a picture out over the last n pixels, so that what enters and
// leaves does not look like an edge of the Moon.
func edgeTaper(pix []float32, w, h, n int) {
	for y := range h {
		for x := range w {
			d := min(x, y, w-1-x, h-1-y)
			if d < n {
				pix[y*w+x] *= (float32(d) + 0.5) / float32(n)
			}
		}
	}
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

// fitNoise measures the noise of a few frames.
func (p *follower) fitNoise(ctx context.Context, t *pipeline.Task) error {
	few := spread(p.c.n, 8)
	got := make([][]noiseSample, len(few))
	err := p.each(ctx, t, few, func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		pix, step := s.img.Pix[0], 1
		if p.c.mosaicked() {
			step = 2
		} else {
			pix = s.luma
		}
		got[k] = measureNoise(pix, p.w, p.h, step)
		return nil
	})
	p.noise = fitNoise(slices.Concat(got...))
	return err
}

// sampleNoise returns the noise of one sample. The brightness of three colours, (R+2G+B)/4, has 6/16 of it.
func (p *follower) sampleNoise() sampleNoise {
	k := 1.0
	if p.c.lay.Planes == 3 {
		k = 16.0 / 6
	}
	return sampleNoise{float64(k * p.noise.base), float64(k * p.noise.slope)}
}

// energyNoise returns what noise adds to the mean squared gradient at a level.
func (p *follower) energyNoise(level float64) float64 {
	if p.c.mosaicked() {
		return p.noise.at(level) * energyNoiseMosaic
	}
	return p.noise.at(level) * energyNoise
}

// look judges a loaded frame by itself.
func (p *follower) look(i int, s *scratch) (looks, error) {
	if err := p.c.bytes(i, s.raw); err != nil {
		return looks{}, err
	}
	s.sums.measure(s.luma, p.w, p.h, 0, 0)
	l := looks{print: fingerprint(s.raw), seams: findSeams(s.luma, p.w, p.h, p.c.mosaicked())}
	var n float64
	var levels []float32
	for k, ok := range s.sums.full {
		if ok {
			v := float64(s.sums.level[k])
			l.level += v
			l.energy += float64(s.sums.energy[k]) - p.energyNoise(v)
			levels = append(levels, s.sums.level[k])
			n++
		}
	}
	if n == 0 {
		return l, nil
	}
	l.level /= n
	l.energy /= n
	l.light = l.level - robust.Quantile(levels, 0.05)
	return l, nil
}

// firstPass judges every frame and finds it coarsely against a sharp one of a
// few; displacements are in pixels of the frame.
func (p *follower) firstPass(ctx context.Context, t *pipeline.Task) ([]looks, error) {
	few := spread(p.c.n, 12)
	some := make([]looks, len(few))
	if err := p.each(ctx, t, few, func(k, i int, s *scratch) (err error) {
		if err = p.load(i, s); err == nil {
			some[k], err = p.look(i, s)
		}
		return err
	}); err != nil {
		return nil, err
	}
	first, why := 0, judgeLooks(some, p.h)
	for k := range few {
		if why[k] == "" && (why[first] != "" || some[k].sharpness() > some[first].sharpness()) {
			first = k
		}
	}
	ref := p.pool.Get().(*scratch)
	if err := p.load(few[first], ref); err != nil {
		return nil, err
	}
	p.findBand(ref)
	find := newFinder(p.cw, p.ch, ref.coarseBand)
	p.pool.Put(ref)
	all := make([]looks, p.c.n)
	px := float64(p.f * p.g)
	err := p.each(ctx, t, spread(p.c.n, p.c.n), func(k, i int, s *scratch) (err error) {
		if err = p.load(i, s); err != nil {
			return err
		}
		if all[i], err = p.look(i, s); err != nil {
			return err
		}
		if s.finder == nil {
			s.finder = find.worker()
		}
		p.findBand(s)
		all[i].places = s.finder.find(s.coarseBand)
		if k%16 == 0 {
			t.Progress(0.45 * float64(k) / float64(p.c.n))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i, pl := range likeliest(all, float64(max(p.cw, p.ch))) {
		all[i].dx, all[i].dy, all[i].fit = pl.x*px, pl.y*px, pl.fit
	}
	return all, nil
}

// best returns the sharpest sound frames near the middle of the drift, sharpest first.
func best(all []looks, why []string, w, h int) []int {
	var xs, ys []float64
	for i, l := range all {
		if why[i] == "" {
			xs, ys = append(xs, l.dx), append(ys, l.dy)
		}
	}
	mx, my := robust.Median(xs), robust.Median(ys)
	var out []int
	for i, l := range all {
		if why[i] == "" && math.Abs(l.dx-mx) <= refCentral*float64(w) && math.Abs(l.dy-my) <= refCentral*float64(h) {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(all[b].sharpness(), all[a].sharpness()) })
	return out
}
