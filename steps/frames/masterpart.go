package frames

import (
	"context"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
)

type meanSettings struct{ Kind string }

// masterIndex says what clips a master fits.
type masterIndex struct {
	Width   int    `json:"width"`
	Height  int    `json:"height"`
	Planes  int    `json:"planes"`
	Pattern string `json:"pattern"`
	Depth   int    `json:"depth"`
	Kind    string `json:"kind"` // "dark" or "flat"
	Frames  int    `json:"frames"`
}

// group is what clips and masters must have in common.
type group struct {
	w, h, planes, depth int
	pattern             string
}

func (i clipIndex) group() group {
	return group{i.Layout.Width, i.Layout.Height, i.Layout.Planes, i.Depth, i.Layout.Pattern}
}

func (m masterIndex) group() group { return group{m.Width, m.Height, m.Planes, m.Depth, m.Pattern} }

// meanPart makes a master from clips of one group: in file and index (as often as
// there are clips), out mean, index, and for a dark hot.
func meanPart(it pipeline.Item, kind string, idx clipIndex, clips int) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height) * int64(idx.Layout.Planes)
	out := []string{"mean", "index"}
	if kind == "dark" {
		out = append(out, "hot")
	}
	return pipeline.Part{
		Name: "mean", Item: it, Version: 1, Settings: meanSettings{Kind: kind}, Out: out,
		Memory: px*(3*8+(masterBatch+3)*4) + 16<<20,
		Run:    pipeline.Bind(runMean),
	}
}

func runMean(ctx context.Context, set meanSettings, t *pipeline.Task) error {
	c, err := openClips(t)
	if err != nil {
		return err
	}
	defer c.Close()
	mean, err := clippedMean(ctx, t, c)
	if err != nil {
		return err
	}
	if set.Kind == "dark" {
		dist := 1
		if c.mosaicked() {
			dist = 2
		}
		hot := hotPixels(mean, dist)
		t.Fact("hot_pixels", float64(len(hot)), "")
		if err := t.PutTable("hot", hotTable{hot}); err != nil {
			return err
		}
	}
	t.Fact("frames", float64(c.n), "frames")
	err = t.PutTable("index", masterIndex{c.lay.Width, c.lay.Height, c.lay.Planes, c.lay.Pattern, c.depth, set.Kind, c.n})
	if err != nil {
		return err
	}
	return t.PutPlane(ctx, "mean", mean.W, mean.H, mean.Pix...)
}

// flatPart normalises a flat for the clips of one group: in flat, and dark if any; out flat.
func flatPart(it pipeline.Item, idx clipIndex) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height) * int64(idx.Layout.Planes)
	return pipeline.Part{
		Name: "flat", Item: it, Version: 1, Settings: flatSettings{Mosaicked: idx.Layout.Planes == 1 && idx.Layout.Pattern != raw.Mono},
		Out: []string{"flat"}, Memory: px*12 + 8<<20, Run: pipeline.Bind(runFlat),
	}
}

type flatSettings struct{ Mosaicked bool }

func runFlat(ctx context.Context, set flatSettings, t *pipeline.Task) error {
	flat, err := readPlane(t, "flat")
	if err != nil {
		return err
	}
	dark, err := readPlane(t, "dark")
	if err != nil {
		return err
	}
	normaliseFlat(flat, dark, set.Mosaicked)
	return t.PutPlane(ctx, "flat", flat.W, flat.H, flat.Pix...)
}

// gradePart judges one clip's frames.
func gradePart(it pipeline.Item, idx clipIndex) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height)
	blocks := int64(idx.Frames) * (blocksMost*12 + 64)
	return pipeline.Part{
		Name: "grade", Item: it, Version: 8, Out: []string{"frames"},
		Memory: px*4*(int64(idx.Layout.Planes)*3+templateBest+8) + blocks + (sampleMost*coarseSide*coarseSide*4 + 32<<20),
		Run:    runGrade,
	}
}
