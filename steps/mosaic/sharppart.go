package mosaic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
)

// sharpTable is what drawing needs to know of sharpness, in panel order.
type sharpTable struct{ Panels []sharpness }

// sharpPart measures how crisp each panel is against the others.
func sharpPart(in []pipeline.Input, memory int64) pipeline.Part {
	return pipeline.Part{
		Name:    "sharpness",
		Version: 4,
		In:      in,
		Out:     []string{"sharpness"},
		Memory:  memory,
		Run:     runSharp,
	}
}

func runSharp(ctx context.Context, t *pipeline.Task) error {
	var g geometry
	var lv levelsTable
	if err := errors.Join(t.One("geometry").Table(&g), t.One("levels").Table(&lv)); err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	in, fulls := t.In("image"), t.In("full")
	n := len(in)
	if len(g.Panels) != n || len(lv.Levels) != n || len(tables) != n || len(fulls) != n {
		return errors.New("the table of placements does not fit the panels")
	}
	ms, err := g.mappings()
	if err != nil {
		return err
	}
	cs := make([]contrast, n)
	err = t.Each(ctx, n, func(i int) error {
		if !g.Panels[i].Placed {
			return nil
		}
		p, err := readSound(in[i], fulls[i])
		if err != nil {
			return fmt.Errorf("read panel %d: %w", i+1, err)
		}
		lv.falloff(i).evenOut(p.v, p.w, p.h)
		cs[i] = contrastOf(p, tables[i].NoiseSigma)
		return nil
	})
	if err != nil {
		return err
	}
	var pairs [][2]int
	for j, q := range g.Panels {
		for i, p := range g.Panels[:j] {
			if p.Placed && q.Placed {
				pairs = append(pairs, [2]int{i, j})
			}
		}
	}
	found := make([][]sharpTie, len(pairs))
	err = t.Each(ctx, len(pairs), func(k int) error {
		i, j := pairs[k][0], pairs[k][1]
		found[k] = sharpTies(i, j, &cs[i], &cs[j], &ms[i], &ms[j], lv.Levels[i].Factor, lv.Levels[j].Factor)
		return nil
	})
	if err != nil {
		return err
	}
	ties := slices.Concat(found...)
	out, err := solveSharpness(n, ties)
	if err != nil {
		return err
	}
	stateSharpness(t, g, out, len(ties))
	return t.PutTable("sharpness", sharpTable{out})
}

// stateSharpness tells what the finest planes of the panels need to become alike.
func stateSharpness(t *pipeline.Task, g geometry, all []sharpness, ties int) {
	t.Fact("sharpness_ties", float64(ties), "places")
	for j, what := range [sharpBands]string{"1px", "2px", "4px"} {
		n, sum, most := 0, 0.0, 1.0
		for i, p := range g.Panels {
			if p.Placed {
				n++
				sum += float64(all[i][j] * all[i][j])
				most = max(most, all[i].gain(j))
			}
		}
		if n > 0 {
			t.Fact("sharpness_spread_"+what, 100*math.Sqrt(sum/float64(n)), "%")
			t.Fact("sharpness_most_gain_"+what, most, "times")
		}
	}
}
