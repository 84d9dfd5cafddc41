package mosaic

import (
	"context"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

// tonesSeen is what is kept of a placed panel to level it: each panel is read once, and let go.
type tonesSeen struct {
	placed  bool
	blocks  blocks
	sky     []skyLevel
	glimpse glimpse
}

func lookForLevels(ctx context.Context, t *pipeline.Task, g geometry, c coverage) ([]tonesSeen, error) {
	in, fulls := t.In("image"), t.In("full")
	out := make([]tonesSeen, len(g.Panels))
	err := t.Each(ctx, len(out), func(i int) error {
		if !g.Panels[i].Placed {
			return nil
		}
		p, err := readPanel(in[i])
		if err != nil {
			return fmt.Errorf("read panel %d: %w", i+1, err)
		}
		m := g.Panels[i].toMosaic()
		s := tonesSeen{placed: true, glimpse: c.glimpse(p, m)}
		if g.Limb.Found {
			s.sky = skyOf(i, p, m, circle{true, g.Limb.X, g.Limb.Y, g.Limb.R})
		}
		if err := p.without(fulls[i]); err != nil {
			return fmt.Errorf("panel %d: %w", i+1, err)
		}
		s.blocks = blocksOf(p, m)
		out[i] = s
		return nil
	})
	return out, err
}

// levelsOf finds all panels' levels, and returns with them the places at which they were compared.
func levelsOf(ctx context.Context, t *pipeline.Task, g geometry, seen []tonesSeen) ([]level, []toneTie, error) {
	n := len(seen)
	in := make([]bool, n)
	var pairs [][2]int
	var sky []skyLevel
	for j, q := range seen {
		in[j] = q.placed
		sky = append(sky, q.sky...)
		for i, p := range seen[:j] {
			if p.placed && q.placed {
				pairs = append(pairs, [2]int{i, j})
			}
		}
	}
	found := make([][]toneTie, len(pairs))
	err := t.Each(ctx, len(pairs), func(k int) error {
		i, j := pairs[k][0], pairs[k][1]
		found[k] = toneTies(i, j, &seen[i].blocks, &seen[j].blocks)
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	var ties []toneTie
	for _, f := range found {
		ties = append(ties, f...)
	}
	lv, err := matchLevels(n, in, ties, sky)
	return lv, ties, err
}

// overlap is what two panels show of the same ground.
type overlap struct {
	A      string  `json:"a"`
	B      string  `json:"b"`
	Places int     `json:"places"`
	Ratio  float64 `json:"brightness_ratio"`  // by how much B is the brighter, before levelling
	RMS    float64 `json:"brightness_rms"`    // of the difference of the two after levelling, in units of white, robustly
	Offset float64 `json:"brightness_median"` // its median: a step that levelling leaves
}

// overlapsOf tells for every overlap how well levelling brought the two panels together.
func overlapsOf(ids []string, ties []toneTie, lv []level) []overlap {
	var out []overlap
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
