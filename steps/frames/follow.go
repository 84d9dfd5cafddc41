package frames

import (
	"context"
	"math"
	"slices"
	"sort"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

const (
	// lostFit of the sample's usual correlation, and a frame is looked for in the
	// whole field and not only where its neighbours in time lie.
	lostFit = 0.75
	// strayMost is how far, in pixels of the coarse scale, a frame may lie from where
	// it is looked for: what is further off was found by chance.
	strayMost = 4
	// jumpFrom is how far apart neighbours in time lie, in pixels of the coarse
	// scale, when the telescope must have jumped between them.
	jumpFrom = 3
)

// tracked is what is found of a frame.
type tracked struct {
	at         point
	fit, share float64
	content    content
}

// followSample finds out where the sample's frames lie against the template.
func (p *follower) followSample(ctx context.Context, t *pipeline.Task, v *survey, tr *template) error {
	v.got = make([]tracked, len(v.frames))
	err := t.Each(ctx, len(v.frames), func(k int) error {
		g := &v.got[k]
		g.at, g.fit, g.share = p.rough(tr, v.broad[k], v.at[k])
		return nil
	})
	v.broad = nil
	var fits []float64
	for k, g := range v.got {
		if v.why[k] == "" {
			fits = append(fits, g.fit)
		}
	}
	v.usual = robust.Median(fits)
	return err
}

// followAll looks at every frame of the clip, tracks it, and takes down what it
// shows of each place.
func (p *follower) followAll(ctx context.Context, t *pipeline.Task, v *survey, tr *template) ([]looks, []tracked, error) {
	all, out := make([]looks, p.c.n), make([]tracked, p.c.n)
	err := p.each(ctx, t, spread(p.c.n, p.c.n), func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		o := &out[i]
		all[i] = p.look(s)
		if j, ok := slices.BinarySearch(v.frames, i); ok {
			*o = v.got[j]
		} else {
			o.at, o.fit, o.share = p.seek(tr, v, i, s)
		}
		o.at = p.exact(tr, s, o.at, o.fit)
		all[i].dx, all[i].dy = o.at.X, o.at.Y
		s.sums.measure(s.luma, p.w, p.h, int(math.Round(o.at.X)), int(math.Round(o.at.Y)))
		o.content = p.contentOf(s.sums)
		if k%16 == 0 {
			t.Progress(0.3 + 0.7*float64(k)/float64(p.c.n))
		}
		return nil
	})
	return all, out, err
}

// seek finds a frame from where its neighbours of the sample lie, and, if it is
// not there, from wherever in the field it fits best.
func (p *follower) seek(tr *template, v *survey, i int, s *scratch) (at point, fit, share float64) {
	px := float64(p.coarse.f)
	broad, starts := p.broad(s), v.starts(i, jumpFrom*px)
	from := starts[0]
	for _, b := range starts {
		if g, f, sh := p.rough(tr, broad, b); f > fit {
			at, fit, share, from = g, f, sh, b
		}
	}
	if stray := apart(at, from) > strayMost*px; stray || fit < lostFit*v.usual {
		b := v.likely(p.find(s, broad), starts, px, float64(max(p.coarse.w, p.coarse.h)))
		if g, f, sh := p.rough(tr, broad, b); f > fit || stray {
			at, fit, share = g, f, sh
		}
	}
	return at, fit, share
}

// starts returns where to look for frame i first: between its neighbours of the
// sample, or at both if these lie further apart than jump.
func (v *survey) starts(i int, jump float64) []point {
	k := sort.SearchInts(v.frames, i)
	a, b := k-1, k
	for a >= 0 && v.why[a] != "" {
		a--
	}
	for b < len(v.frames) && v.why[b] != "" {
		b++
	}
	switch {
	case a < 0 && b >= len(v.frames):
		return []point{{}}
	case a < 0:
		return []point{v.got[b].at}
	case b >= len(v.frames):
		return []point{v.got[a].at}
	}
	q, r := v.got[a].at, v.got[b].at
	if apart(q, r) > jump {
		return []point{q, r}
	}
	u := float64(i-v.frames[a]) / float64(v.frames[b]-v.frames[a])
	return []point{{q.X + float64(u*(r.X-q.X)), q.Y + float64(u*(r.Y-q.Y))}}
}

// likely chooses one of the places, px of the frame apart by px a step, with the
// best fit after what it costs to jump there from the nearest of starts.
func (v *survey) likely(places []place, starts []point, px, field float64) point {
	best, least := starts[0], math.Inf(1)
	for _, pl := range places {
		b := point{float64(pl.x*px) - v.origin.X, float64(pl.y*px) - v.origin.Y}
		for _, s := range starts {
			c := float64(jumpCost*min(1, apart(b, s)/(jumpShare*field*px))) - pl.fit
			if c < least {
				best, least = b, c
			}
		}
	}
	return best
}
