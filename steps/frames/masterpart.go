package frames

import (
	"context"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

// meanSettings vary a master. Exposure and gain change no pixel of it, but say what it is of.
type meanSettings struct {
	Kind       string
	ExposureMS *float64 `json:"exposure_ms"`
	Gain       *float64 `json:"gain"`
}

// masterIndex says what clips a master fits, and what there is to say against it.
type masterIndex struct {
	Width      int      `json:"width"`
	Height     int      `json:"height"`
	Planes     int      `json:"planes"`
	Pattern    string   `json:"pattern"`
	Depth      int      `json:"depth"`
	Kind       string   `json:"kind"` // "dark" or "flat"
	Frames     int      `json:"frames"`
	ExposureMS *float64 `json:"exposure_ms"` // null: not stated
	Gain       *float64 `json:"gain"`        // null: not stated
	Level      float64  `json:"level"`       // mean, share of white
	Saturated  float64  `json:"saturated"`   // share of the pixels that are at white
	Uneven     float64  `json:"uneven"`      // see unevenness, share of white
}

func (m masterIndex) camera() camera { return camera{m.ExposureMS, m.Gain} }

// meanPart makes a master from clips of one group: in file and index (as often as
// there are clips), out mean, index, and for a dark hot.
func meanPart(it pipeline.Item, set meanSettings, idx clipIndex) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height) * int64(idx.Layout.Planes)
	out := []string{"mean", "index"}
	if set.Kind == "dark" {
		out = append(out, "hot")
	}
	return pipeline.Part{
		Name: "mean", Item: it, Version: 2, Settings: set, Out: out,
		Memory: px*(calibrate.MeanBytes+(masterBatch+1)*4) + 16<<20,
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
		hot := calibrate.HotPixels(mean, c.lay.Pattern, hotSigma, hotLeast)
		t.Fact("hot_pixels", float64(len(hot)), "pixels")
		if err := t.PutTable("hot", hotTable{hot}); err != nil {
			return err
		}
	}
	idx := masterIndex{Width: c.lay.Width, Height: c.lay.Height, Planes: c.lay.Planes, Pattern: c.lay.Pattern, Depth: c.depth,
		Kind: set.Kind, Frames: c.n, ExposureMS: set.ExposureMS, Gain: set.Gain}
	idx.judge(mean)
	t.Fact("frames", float64(c.n), "frames")
	t.Fact("level", 100*idx.Level, "% of white")
	t.Fact("saturated", 100*idx.Saturated, "% of its pixels")
	if err := t.PutTable("index", idx); err != nil {
		return err
	}
	return t.PutPlane(ctx, "mean", mean.W, mean.H, mean.Pix...)
}

// judge measures what could be wrong with a master.
func (m *masterIndex) judge(mean *plane.Image) {
	for _, p := range mean.Pix {
		level, _ := robust.Mean(p)
		m.Level += level / float64(len(mean.Pix))
	}
	full := calibrate.Saturated(make([]bool, mean.W*mean.H), mean, calibrate.SaturationLevel)
	m.Saturated = round6(float64(full) / float64(mean.W*mean.H))
	m.Level, m.Uneven = round6(m.Level), round6(unevenness(mean))
}

// flatPart normalises a flat: in flat, and dark if any; out flat.
func flatPart(it pipeline.Item, idx clipIndex) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height) * int64(idx.Layout.Planes)
	return pipeline.Part{
		Name: "flat", Item: it, Version: 3, Settings: flatSettings{Pattern: idx.sitePattern()},
		Out: []string{"flat"}, Memory: px*12 + 8<<20, Run: pipeline.Bind(runFlat),
	}
}

type flatSettings struct{ Pattern string }

// sitePattern is the pattern of the filters in front of the pixels, ignored or not. Where
// they are ignored the clip's own sites are evened: a flat that kept what the sites
// differ in would do it twice, so it is normalised by sites even if the header says mono.
func (i clipIndex) sitePattern() string {
	switch {
	case i.Sites != nil && i.FilePattern == raw.Mono:
		return raw.RGGB // any: what counts is that neighbouring sites differ
	case i.Layout.Pattern == raw.Mono:
		return i.FilePattern
	}
	return i.Layout.Pattern
}

func runFlat(ctx context.Context, set flatSettings, t *pipeline.Task) error {
	flat, err := readPlane(t, "flat")
	if err != nil {
		return err
	}
	dark, err := readPlane(t, "dark")
	if err != nil {
		return err
	}
	calibrate.Flat(flat, dark, set.Pattern)
	return t.PutPlane(ctx, "flat", flat.W, flat.H, flat.Pix...)
}

// frameNotes is a guess at the bytes that are kept of a frame of h rows beside its content.
func frameNotes(h int) int64 { return 4*int64(h) + cellsMost*cellsMost*16 + 1024 }

// gradePart judges one clip's frames.
func gradePart(it pipeline.Item, idx clipIndex) pipeline.Part {
	px := int64(idx.Layout.Width) * int64(idx.Layout.Height)
	w, h, n := idx.Layout.Width, idx.Layout.Height, idx.Frames
	content := contentBytes(w, h, n, blockSide(w, h, n)) + int64(n)*frameNotes(h)
	return pipeline.Part{
		Name: "grade", Item: it, Version: 13, Out: []string{"frames"},
		Memory: px*4*(int64(idx.Layout.Planes)*3+templateBest+8) + content + (sampleMost*coarseSide*coarseSide*4 + 32<<20),
		Run:    runGrade,
	}
}
