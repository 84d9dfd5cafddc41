package stacks

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
)

const (
	referenceShare = 0.06 // of the usable frames, the sharpest, make the reference
	referenceLeast = 10
	referenceMost  = 40
	referenceTurns = 2 // it is rebuilt from its own result
)

// referenceFrames are the frames that the reference is made of.
func referenceFrames(ranks []int) []int {
	n := max(referenceLeast, min(referenceMost, int(math.Ceil(referenceShare*float64(len(ranks))))))
	return ranks[:min(n, len(ranks))]
}

// eye brings a frame's luma and its views; for one goroutine.
type eye struct {
	c     *clip
	img   *plane.Image
	luma  []float32
	sight *viewer
	sites *[2][2]int // of a mosaic, else nil
}

func newEye(c *clip) *eye {
	e := &eye{c: c, img: c.newFrame()}
	e.luma = e.img.Pix[min(1, e.img.Channels()-1)] // the picture itself, or green
	if c.mosaicked() {
		e.sites = siteChannels(c.idx.Layout.Pattern)
		e.luma = make([]float32, c.w*c.h)
	}
	return e
}

// load brings frame i's luma, brightness evened.
func (e *eye) load(i int) error {
	if err := e.c.frame(i, e.img); err != nil {
		return err
	}
	if e.sites != nil {
		greens(e.luma, e.img, e.sites)
	}
	lanes.Scale(e.luma, 1/e.c.gain(i))
	return nil
}

// look brings frame i's luma and returns its views.
func (e *eye) look(i int) (views, error) {
	if err := e.load(i); err != nil {
		return views{}, err
	}
	if e.sight == nil { // seven pictures more, which a mean does not need
		e.sight = newViewer(e.c.w, e.c.h)
	}
	return e.sight.see(e.luma), nil
}

// runReference is the part "reference": the luma that all frames are aligned to.
func runReference(ctx context.Context, t *pipeline.Task) error {
	c, err := openClip(t)
	if err != nil {
		return err
	}
	defer c.Close()
	ranks := ranked(c.tab.Grade)
	if len(ranks) == 0 {
		return errNoFrames
	}
	cv := c.tab.canvas(c.idx.Layout)
	frames := referenceFrames(ranks)
	fields := make([]field, len(frames))
	var pix []float32
	for turn := range referenceTurns + 1 {
		if pix, err = meanLuma(ctx, t, c, frames, fields, cv); err != nil {
			return err
		}
		t.Progress(float64(turn+1) / (referenceTurns + 1))
		if turn == referenceTurns {
			break
		}
		if fields, err = alignAll(ctx, t, c, frames, c.targetOf(pix, cv, len(frames))); err != nil {
			return err
		}
		mean := meanField(gridFor(cv), fields)
		for k := range fields {
			fields[k] = fields[k].minus(mean)
		}
	}
	if err := putColours(ctx, t, c, frames, fields, cv); err != nil {
		return err
	}
	return t.PutPlane(ctx, "reference", cv.W, cv.H, pix)
}

// targetOf makes a target of a mean of n frames.
func (c *clip) targetOf(luma []float32, cv canvas, n int) *target {
	t := newTarget(luma, cv)
	t.leaveBlank(luma, func(level float32) float32 {
		s := c.sigma(level)
		return s * s / float32(n)
	})
	return t
}

// putColours measures how red and blue lie against green, and how bright they are, on a stack of the
// reference's frames. It is one shift a colour for the clip: over a minute the Moon
// hardly climbs.
func putColours(ctx context.Context, t *pipeline.Task, c *clip, frames []int, fields []field, cv canvas) error {
	var col colours
	if channels(c.idx.Layout) == 3 {
		at := map[int]field{}
		for k, i := range frames {
			at[i] = fields[k]
		}
		s := newSums(cv.plain(), c.idx.Layout)
		if err := addAll(ctx, t, c, frames, s, func(i int) field { return at[i] }, colours{}, nil); err != nil {
			return err
		}
		img, _, _ := s.finish(len(frames))
		col = measureColours(img, cv)
	}
	return t.PutTable("colours", col)
}

// alignAll finds the field of each frame against a target.
func alignAll(ctx context.Context, t *pipeline.Task, c *clip, frames []int, tg *target) ([]field, error) {
	out := make([]field, len(frames))
	type worker struct {
		e *eye
		a *aligner
	}
	free := make(chan worker, len(frames))
	err := t.Each(ctx, len(frames), func(k int) error {
		var w worker
		select {
		case w = <-free:
		default:
			w = worker{newEye(c), newAligner(tg)}
		}
		defer func() { free <- w }()
		i := frames[k]
		v, err := w.e.look(i)
		if err != nil {
			return err
		}
		out[k] = w.a.align(v, c.w, c.h, c.tab.Shift[i][0], c.tab.Shift[i][1])
		return ctx.Err()
	})
	return out, err
}

// meanLuma is the mean of frames laid on the canvas by their shifts and fields,
// NaN where fewer than half of them show anything.
func meanLuma(ctx context.Context, t *pipeline.Task, c *clip, frames []int, fields []field, cv canvas) ([]float32, error) {
	sum, n := make([]float32, cv.W*cv.H), make([]float32, cv.W*cv.H)
	e := make([]*eye, batch)
	g := gridFor(cv)
	bands := (cv.H + bandRows - 1) / bandRows
	for at := 0; at < len(frames); at += batch {
		m := min(batch, len(frames)-at)
		if err := t.Each(ctx, m, func(k int) error {
			if e[k] == nil {
				e[k] = newEye(c)
			}
			return e[k].load(frames[at+k])
		}); err != nil {
			return nil, err
		}
		if err := t.Each(ctx, bands, func(b int) error {
			l := newLine(c, cv.plain(), g)
			for k := range m {
				for y := b * bandRows; y < min(cv.H, (b+1)*bandRows); y++ {
					l.at(c.tab.Shift[frames[at+k]], fields[at+k], y)
					l.add(sum[y*cv.W:][:cv.W], n[y*cv.W:][:cv.W], e[k].luma)
				}
			}
			return ctx.Err()
		}); err != nil {
			return nil, err
		}
	}
	for i := range sum {
		if n[i] < 0.5*float32(len(frames)) || n[i] == 0 {
			sum[i] = float32(math.NaN())
		} else {
			sum[i] /= n[i]
		}
	}
	return sum, nil
}
