package mosaic

import (
	"context"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

// tonesSeen is what is kept of a placed panel to level it: each panel is read once, and let go.
type tonesSeen struct {
	placed  bool
	views   []toneView // of the mean of the channels, then, if there are several, of each
	glimpse glimpse
	w, h    int
}

// toneView is what one channel shows.
type toneView struct {
	blocks blocks
	sky    []skyPlace
}

func lookForLevels(ctx context.Context, t *pipeline.Task, g geometry, c coverage) ([]tonesSeen, error) {
	in, fulls := t.In("image"), t.In("full")
	out := make([]tonesSeen, len(g.Panels))
	err := t.Each(ctx, len(out), func(i int) (err error) {
		if !g.Panels[i].Placed {
			return nil
		}
		if out[i], err = tonesOf(in[i], fulls[i], g, i, c); err != nil {
			err = fmt.Errorf("panel %d: %w", i+1, err)
		}
		return err
	})
	return out, err
}

func tonesOf(image, overexposed pipeline.Source, g geometry, i int, c coverage) (tonesSeen, error) {
	w, h, pix, err := image.Pixels()
	if err != nil {
		return tonesSeen{}, fmt.Errorf("read it: %w", err)
	}
	full, err := readPanel(overexposed)
	if err == nil && (full.w != w || full.h != h) {
		err = fmt.Errorf("it is told of %d×%d px, the panel has %d×%d", full.w, full.h, w, h)
	}
	if err != nil {
		return tonesSeen{}, fmt.Errorf("read what is overexposed: %w", err)
	}
	m, err := g.Panels[i].mapping()
	if err != nil {
		return tonesSeen{}, fmt.Errorf("carry it over the sphere: %w", err)
	}
	p := panel{w, h, plane.Of(w, h, pix...).Luminance()}
	s := tonesSeen{placed: true, w: w, h: h, glimpse: c.glimpse(p, full, m, g.Panels[i].Tones)}
	channels := [][]float32{p.v}
	if len(pix) > 1 {
		channels = append(channels, pix...)
	}
	for _, v := range channels {
		p := panel{w, h, v}
		var view toneView
		if g.Limb.Found {
			view.sky = skyPlaces(p, m, circle{true, g.Limb.X, g.Limb.Y, g.Limb.R})
		}
		if err := p.without(full); err != nil {
			return s, err
		}
		view.blocks = blocksOf(p, m)
		s.views = append(s.views, view)
	}
	return s, nil
}

// oneSensor tells which of the placed panels are of the commonest size, within a hundredth, as those are that were drawn to the
// scale of most: what falls off over another part of the sensor, or through another lens, is another falloff.
func oneSensor(seen []tonesSeen) []bool {
	alike := func(a, b tonesSeen) bool {
		return a.placed && b.placed && 100*max(a.w-b.w, b.w-a.w) <= a.w && 100*max(a.h-b.h, b.h-a.h) <= a.h
	}
	var best []bool
	most := 0
	for _, a := range seen {
		has, n := make([]bool, len(seen)), 0
		for i, b := range seen {
			if has[i] = alike(a, b); has[i] {
				n++
			}
		}
		if best == nil || n > most {
			best, most = has, n
		}
	}
	return best
}

// overlap is what two panels show of the same ground.
type overlap struct {
	A      string  `json:"a"`
	B      string  `json:"b"`
	Places int     `json:"places"`
	Ratio  float64 `json:"brightness_ratio"`  // by how much B is the brighter, before levelling
	RMS    float64 `json:"brightness_rms"`    // of the difference of the two after levelling, in units of white, robustly
	Offset float64 `json:"brightness_median"` // its median: a step that levelling leaves

	Windows int     `json:"windows"` // by which the two were placed; 0: by points that look alike
	OffPx   float64 `json:"rms_px"`  // how far these, or the points, lie off
}

// overlapsOf tells for every overlap how well levelling brought the two panels together.
func overlapsOf(ids []string, ties []toneTie, lv []level, fits []overlapFit) []overlap {
	var out []overlap
	fit := map[[2]int]overlapFit{}
	for _, f := range fits {
		fit[[2]int{f.A, f.B}] = f
	}
	for from := 0; from < len(ties); {
		a, b, to := ties[from].A, ties[from].B, from
		var d []float64
		for ; to < len(ties) && ties[to].A == a && ties[to].B == b; to++ {
			d = append(d, ties[to].apart(lv))
		}
		from = to
		o := overlap{A: ids[a], B: ids[b], Places: len(d), Ratio: lv[a].Factor / lv[b].Factor}
		o.Offset, o.RMS = robust.MAD(d)
		o.RMS *= robust.MADToSigma
		f := fit[[2]int{min(a, b), max(a, b)}]
		o.Windows, o.OffPx = f.Windows, f.RMS
		out = append(out, o)
	}
	return out
}

// stateLevels tells how unlike in brightness the panels were, and what is left.
func stateLevels(t *pipeline.Task, panels []placement, overlaps []overlap) {
	low, high := math.Inf(1), 0.0
	for _, p := range panels {
		if p.Placed {
			low, high = min(low, p.Factor), max(high, p.Factor)
		}
	}
	if high > 0 {
		t.Fact("brightness_range", high/low, "times")
	}
	var steps []float64
	for _, o := range overlaps {
		steps = append(steps, math.Abs(o.Offset))
	}
	if len(steps) > 0 {
		t.Fact("brightness_step", 100*robust.Median(steps), "% of white")
	}
}
