package frames

import (
	"context"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

const (
	blocksMost  = 5000      // a frame's blocks are so large that there are no more of them
	blockBytes  = 12        // a block's content
	contentMost = 128 << 20 // bytes of all frames' content: that of a long clip is taken down in larger blocks
	fitLeast    = 0.4       // of the clip's usual correlation
	shareLeast  = 0.2       // of the template that a frame must show
)

// framesTable is what this stage tells the next about a clip's frames.
type framesTable struct {
	Grade     []float64    `json:"grade"` // amplitude of detail, 1 = the clip's mean, 0 = rejected
	Cells     tableCells   `json:"cells"`
	Shift     [][2]float64 `json:"shift"` // px: the content lies further right and down by this than in the reference
	Gain      []float64    `json:"gain"`  // brightness of the Moon, 1 = the clip's mean, 0 = rejected
	Fit       []float64    `json:"fit"`   // correlation with the clip's mean, 0…1
	Rejected  []Rejection  `json:"rejected"`
	Reference int          `json:"reference"`
	Level     []float64    `json:"level"` // mean brightness
	SkyOnly   bool         `json:"sky_only"`
	Noise     sampleNoise  `json:"noise"`
}

// sampleNoise is the variance of a calibrated sample against its level.
type sampleNoise struct {
	Base  float64 `json:"base"`
	Slope float64 `json:"slope"`
}

// runGrade is the part "grade": in file, index, and dark, flat, hot if any; out frames.
func runGrade(ctx context.Context, t *pipeline.Task) error {
	c, err := openClip(t)
	if err != nil {
		return err
	}
	defer c.Close()
	id := t.One("file").ID()
	table, err := gradeClip(ctx, t, c)
	if err != nil {
		return err
	}
	if table.SkyOnly {
		t.Warn("clip-sky-only", "%s shows nothing above the noise of the sky", pipeline.ClipName(id))
	}
	if len(table.Rejected) > 0 && !table.SkyOnly {
		t.Warn("frames-rejected", "%s, left out of %d frames, counted from 0: %s", pipeline.ClipName(id), len(table.Grade), tellRejected(table.Rejected))
	}
	t.Fact("frames", float64(len(table.Grade)), "frames")
	t.Fact("frames_rejected", float64(len(table.Rejected)), "frames")
	return t.PutTable("frames", table)
}

func gradeClip(ctx context.Context, t *pipeline.Task, c *clip) (*framesTable, error) {
	p := newFollower(c)
	v, err := p.newSurvey(ctx, t)
	if err != nil {
		return nil, err
	}
	top := v.best(p.w, p.h)
	if len(top) == 0 {
		return p.nothing(v), nil
	}
	v.measureFrom(top[0])
	best := top[:min(len(top), templateBest)]
	tr, err := p.newTemplate(ctx, t, v, best)
	if err != nil {
		return nil, err
	}
	if err := p.followSample(ctx, t, v, tr); err != nil {
		return nil, err
	}
	all, got, err := p.followAll(ctx, t, v, tr)
	if err != nil {
		return nil, err
	}
	out := &framesTable{Rejected: []Rejection{}, Noise: p.noise.ofSample(c.lay.Planes), Reference: v.frames[top[0]]}
	for _, l := range all {
		out.Level = append(out.Level, round6(l.level))
	}
	why := judgeLooks(all, seamSlack)
	for _, k := range top { // a frame that proves to be a repetition is none
		if why[v.frames[k]] == "" {
			out.Reference = v.frames[k]
			break
		}
	}
	var template []int
	for _, k := range best {
		template = append(template, v.frames[k])
	}
	out.SkyOnly = isSky(got, template, tr.broad.count)
	rejectUnfit(got, why, out.SkyOnly)
	p.finish(out, got, why)
	return out, nil
}

// blockSide is that of the blocks in which the content of n frames of w by h px is taken down, px.
func blockSide(w, h, n int) int {
	side := looksBlock
	for (w/side)*(h/side) > blocksMost {
		side *= 2
	}
	for contentBytes(w, h, n, side) > contentMost && side < max(w, h) {
		side += looksBlock
	}
	return side
}

// contentBytes is what the content of n frames takes in blocks of a side.
func contentBytes(w, h, n, side int) int64 {
	return int64((w+side-1)/side) * int64((h+side-1)/side) * int64(n) * blockBytes
}

func (p *follower) side() int { return blockSide(p.w, p.h, p.c.n) }

func (p *follower) contentOf(b *blockSums) content {
	c := content{make([]float32, len(b.energy)), make([]float32, len(b.energy)), append([]float32(nil), b.level...)}
	for i, e := range b.energy {
		n := float32(p.energyNoise(float64(b.level[i])))
		c.energy[i], c.noise[i] = e-n, n
		if !b.full[i] {
			c.energy[i] = float32(math.NaN())
		}
	}
	return c
}

// rejectUnfit rejects frames that do not show what the others show.
func rejectUnfit(got []tracked, why []string, sky bool) {
	var fits []float64
	for i, g := range got {
		if why[i] == "" {
			fits = append(fits, g.fit)
		}
	}
	least := fitLeast * robust.Quantile(fits, 0.75)
	for i, g := range got {
		if why[i] == "" && !sky && (g.fit < least || g.share < shareLeast) {
			why[i] = "fits nothing"
		}
	}
}

// finish grades the frames that are left and fills the table.
func (p *follower) finish(out *framesTable, got []tracked, why []string) {
	all := make([]content, len(got))
	for i := range got {
		if why[i] == "" {
			all[i] = got[i].content
		}
	}
	side := p.side()
	nx, ny := (p.w+side-1)/side, (p.h+side-1)/side
	out.Gain = gains(all)
	out.Grade, out.Cells = grades(all, out.Gain, nx, ny, side, p.w, p.h)
	ref := got[out.Reference].at
	for i, g := range got {
		out.Grade[i], out.Gain[i] = round6(out.Grade[i]), round6(out.Gain[i])
		if why[i] == "" {
			out.Grade[i] = max(out.Grade[i], gradeLeast)
		}
		shift := [2]float64{round6(g.at.X - ref.X), round6(g.at.Y - ref.Y)}
		if out.SkyOnly { // what was tracked is noise
			shift = [2]float64{}
		}
		out.Shift = append(out.Shift, shift)
		out.Fit = append(out.Fit, round6(max(0, min(1, g.fit))))
		if why[i] != "" {
			out.Rejected = append(out.Rejected, Rejection{i, why[i]})
		}
	}
}

// nothing is the table of a clip of which the sample holds no sound frame.
func (p *follower) nothing(v *survey) *framesTable {
	n := p.c.n
	out := &framesTable{Rejected: []Rejection{}, SkyOnly: true, Cells: tableCells{NX: 1, NY: 1, Grade: make([][]float64, n)},
		Grade: make([]float64, n), Gain: make([]float64, n), Fit: make([]float64, n), Level: make([]float64, n), Shift: make([][2]float64, n)}
	for i := range n {
		out.Cells.Grade[i] = []float64{0}
		r := Rejection{i, "fits nothing"}
		if k, ok := slices.BinarySearch(v.frames, i); ok {
			r.Reason = v.why[k]
		}
		out.Rejected = append(out.Rejected, r)
	}
	return out
}

func round6(v float64) float64 { return math.Round(v*1e6) / 1e6 }
