package frames

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

const (
	blocksMost = 5000 // a frame's blocks are so large that there are no more of them
	fitLeast   = 0.4  // of the clip's usual correlation
	shareLeast = 0.2  // of the template that a frame must show
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
	if len(table.Rejected) > 0 {
		t.Warn("frames-rejected", "%s, left out of %d frames, counted from 0: %s", pipeline.ClipName(id), len(table.Grade), tellRejected(table.Rejected))
	}
	t.Fact("frames", float64(len(table.Grade)), "frames")
	t.Fact("frames_rejected", float64(len(table.Rejected)), "frames")
	return t.PutTable("frames", table)
}

func gradeClip(ctx context.Context, t *pipeline.Task, c *clip) (*framesTable, error) {
	p := newFollower(c)
	if err := p.fitNoise(ctx, t); err != nil {
		return nil, err
	}
	all, err := p.firstPass(ctx, t)
	if err != nil {
		return nil, err
	}
	why := judgeLooks(all, p.f*p.g+seamSlack)
	top := best(all, why, p.w, p.h)
	out := &framesTable{Rejected: []Rejection{}, Noise: p.sampleNoise()}
	for _, l := range all {
		out.Level = append(out.Level, round6(l.level))
	}
	if len(top) == 0 {
		return p.nothing(out, why), nil
	}
	out.Reference = top[0]
	at := make([]point, c.n)
	for i, l := range all {
		at[i] = point{l.dx - all[out.Reference].dx, l.dy - all[out.Reference].dy}
	}
	top = top[:min(len(top), templateBest)]
	start := make([]point, len(top))
	for k, i := range top {
		start[k] = at[i]
	}
	tr, err := p.newTemplate(ctx, t, top, start)
	if err != nil {
		return nil, err
	}
	for k, i := range top {
		at[i] = start[k]
	}
	got, err := p.secondPass(ctx, t, tr, at)
	if err != nil {
		return nil, err
	}
	out.SkyOnly = isSky(got)
	rejectUnfit(got, why, out.SkyOnly)
	p.finish(out, got, why)
	return out, nil
}

// tracked is what the second pass finds of a frame.
type tracked struct {
	at         point
	fit, share float64
	content    content
}

func (p *follower) side() int {
	side := looksBlock
	for (p.w/side)*(p.h/side) > blocksMost {
		side *= 2
	}
	return side
}

func (p *follower) secondPass(ctx context.Context, t *pipeline.Task, tr *template, at []point) ([]tracked, error) {
	out := make([]tracked, p.c.n)
	side := p.side()
	err := p.each(ctx, t, spread(p.c.n, p.c.n), func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		s.track.split(s.views, s.small)
		o := &out[i]
		o.at, o.fit, o.share = p.track(tr, s.views, at[i])
		if s.sums.side != side {
			s.sums = newBlockSums(p.w, p.h, side)
		}
		s.sums.measure(s.luma, p.w, p.h, int(math.Round(o.at.X)), int(math.Round(o.at.Y)))
		o.content = p.contentOf(s.sums)
		if k%16 == 0 {
			t.Progress(0.5 + 0.5*float64(k)/float64(p.c.n))
		}
		return nil
	})
	return out, err
}

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

// nothing is the table of a clip without one sound frame.
func (p *follower) nothing(out *framesTable, why []string) *framesTable {
	n := len(why)
	out.Grade, out.Gain, out.Fit, out.Shift = make([]float64, n), make([]float64, n), make([]float64, n), make([][2]float64, n)
	out.Cells = tableCells{NX: 1, NY: 1, Grade: make([][]float64, n)}
	for i, r := range why {
		out.Cells.Grade[i] = []float64{0}
		out.Rejected = append(out.Rejected, Rejection{i, r})
	}
	out.SkyOnly = true
	return out
}

func round6(v float64) float64 { return math.Round(v*1e6) / 1e6 }
