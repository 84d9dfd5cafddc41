package frames

import (
	"cmp"
	"context"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

const (
	sampleLeast = 32   // frames, if there are as many, that are looked at first
	sampleMost  = 64   // frames
	sampleShare = 0.25 // of a long clip's frames
	noiseFrames = 8    // of which the noise is measured
	alikeEnough = 0.4  // usual correlation of frames that show the same
)

// sampleSize is how many of n frames are looked at first.
func sampleSize(n int) int {
	return min(n, sampleMost, max(sampleLeast, int(sampleShare*float64(n))))
}

// survey is what is known from a sample of a clip's frames.
type survey struct {
	frames []int // rising
	all    []looks
	why    []string
	first  int         // which of them the finder knows
	broad  [][]float32 // views of them at the coarse scale
	at     []point     // displacements against the reference, px of the frame
	origin point       // of the reference against the frame that the finder knows, px
	got    []tracked   // without content
	usual  float64     // correlation with the template
}

// newSurvey judges a sample of the frames and finds them coarsely against the
// sharpest. Displacements in looks are in pixels of the frame.
func (p *follower) newSurvey(ctx context.Context, t *pipeline.Task) (*survey, error) {
	v := &survey{frames: spread(p.c.n, sampleSize(p.c.n))}
	n := len(v.frames)
	v.all, v.broad = make([]looks, n), make([][]float32, n)
	noise := make([][]noiseSample, n)
	every := (n + noiseFrames - 1) / noiseFrames
	err := p.each(ctx, t, v.frames, func(k, i int, s *scratch) error {
		if err := p.load(i, s); err != nil {
			return err
		}
		v.all[k] = p.look(s)
		v.all[k].energy = p.energyOf(s)
		v.broad[k] = slices.Clone(p.broad(s))
		if k%every == every/2 {
			noise[k] = p.measureNoise(s)
		}
		t.Progress(0.2 * float64(k) / float64(n))
		return nil
	})
	if err != nil {
		return nil, err
	}
	p.noise = fitNoise(slices.Concat(noise...))
	for k := range v.all {
		v.all[k].energy -= p.energyNoise(v.all[k].level)
	}
	v.why = judgeLooks(v.all, p.h) // nothing is placed yet
	return v, p.findSample(ctx, t, v)
}

// findSample finds the sample's frames, in the whole field, against a sharp one that
// most of them resemble: what is sharpest of all may be a bird, or a branch.
func (p *follower) findSample(ctx context.Context, t *pipeline.Task, v *survey) error {
	order := v.sharpest()
	if len(order) == 0 {
		return nil
	}
	most := math.Inf(-1)
	for _, first := range []int{order[0], order[len(order)/4], order[len(order)/2]} {
		p.far = newFinder(p.coarse.w, p.coarse.h, p.faded(p.coarse.pixels(), v.broad[first]))
		places := make([][]place, len(v.frames))
		err := p.each(ctx, t, v.frames, func(k, _ int, s *scratch) error {
			places[k] = p.find(s, v.broad[k])
			return nil
		})
		if err != nil {
			return err
		}
		alike := likeness(places)
		if alike > most {
			most, v.first = alike, first
			for k := range places {
				v.all[k].places = places[k]
			}
		}
		if alike >= alikeEnough {
			break
		}
	}
	p.far = newFinder(p.coarse.w, p.coarse.h, p.faded(p.coarse.pixels(), v.broad[v.first]))
	v.settle(float64(p.coarse.f), float64(max(p.coarse.w, p.coarse.h)))
	return nil
}

// likeness is the usual correlation of frames at their best places.
func likeness(places [][]place) float64 {
	fits := []float64{0}
	for _, p := range places {
		if len(p) > 0 {
			fits = append(fits, p[0].fit)
		}
	}
	return robust.Median(fits)
}

// settle chooses the sample's places and turns away frames that fit none.
func (v *survey) settle(px, field float64) {
	var fits []float64
	for k, pl := range likeliest(v.all, field) {
		v.all[k].dx, v.all[k].dy, v.all[k].fit = pl.x*px, pl.y*px, pl.fit
		if v.why[k] == "" {
			fits = append(fits, pl.fit)
		}
	}
	least := fitLeast * robust.Quantile(fits, 0.75)
	for k := range v.all {
		if v.why[k] == "" && v.all[k].fit < least {
			v.why[k] = "fits nothing"
		}
	}
}

// sharpest returns the sample's sound frames, sharpest first.
func (v *survey) sharpest() []int {
	var out []int
	for k := range v.all {
		if v.why[k] == "" {
			out = append(out, k)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(v.all[b].sharpness(), v.all[a].sharpness()) })
	return out
}

func (p *follower) measureNoise(s *scratch) []noiseSample {
	if p.c.mosaicked() {
		return measureNoise(s.img.Pix[0], p.w, p.h, 2)
	}
	return measureNoise(s.luma, p.w, p.h, 1)
}

// look judges a loaded frame by itself, but for its energy.
func (p *follower) look(s *scratch) looks {
	l := looks{print: fingerprint(s.raw), seams: findSeams(s.luma, p.w, p.h, p.c.mosaicked())}
	s.levels = blockLevels(s.levels[:0], s.coarse, p.coarse.w, p.coarse.h, looksBlock)
	if len(s.levels) == 0 {
		return l
	}
	for _, v := range s.levels {
		l.level += float64(v)
	}
	l.level /= float64(len(s.levels))
	l.light = l.level - robust.Quantile(s.levels, 0.05)
	return l
}

// energyOf returns a loaded frame's mean squared gradient, noise and all.
func (p *follower) energyOf(s *scratch) float64 {
	s.sums.measure(s.luma, p.w, p.h, 0, 0)
	var sum, n float64
	for k, ok := range s.sums.full {
		if ok {
			sum += float64(s.sums.energy[k])
			n++
		}
	}
	return sum / max(n, 1)
}

// blockLevels appends the means of whole blocks of side by side pixels.
func blockLevels(dst, pix []float32, w, h, side int) []float32 {
	k := 1 / float32(side*side)
	for y := 0; y+side <= h; y += side {
		for x := 0; x+side <= w; x += side {
			var sum float32
			for j := range side {
				for _, v := range pix[(y+j)*w+x:][:side] {
					sum += v
				}
			}
			dst = append(dst, sum*k)
		}
	}
	return dst
}

// best returns the sharpest sound frames of the sample near the middle of the
// drift, sharpest first, by their place in it.
func (v *survey) best(w, h int) []int {
	var xs, ys []float64
	for k, l := range v.all {
		if v.why[k] == "" {
			xs, ys = append(xs, l.dx), append(ys, l.dy)
		}
	}
	mx, my := robust.Median(xs), robust.Median(ys)
	var out []int
	for _, k := range v.sharpest() {
		if l := v.all[k]; math.Abs(l.dx-mx) <= refCentral*float64(w) && math.Abs(l.dy-my) <= refCentral*float64(h) {
			out = append(out, k)
		}
	}
	return out
}

// measureFrom makes frame k of the sample the reference.
func (v *survey) measureFrom(k int) {
	v.origin = point{v.all[k].dx, v.all[k].dy}
	v.at = make([]point, len(v.all))
	for j, l := range v.all {
		v.at[j] = point{l.dx - v.origin.X, l.dy - v.origin.Y}
	}
}
