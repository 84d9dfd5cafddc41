package mosaic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
)

// shown is what all panels show in a channel.
type shown struct {
	in   []bool
	ties []toneTie
	sky  [][]skyPlace
}

// compare compares all panels in a channel (0: the mean of all). Panels that lack the channel stand with their mean.
func compare(ctx context.Context, t *pipeline.Task, seen []tonesSeen, channel int) (shown, error) {
	n := len(seen)
	s := shown{in: make([]bool, n), sky: make([][]skyPlace, n)}
	views := make([]*toneView, n)
	var pairs [][2]int
	for j, q := range seen {
		if s.in[j] = q.placed; !q.placed {
			continue
		}
		views[j] = &q.views[0]
		if channel < len(q.views) {
			views[j] = &q.views[channel]
		}
		s.sky[j] = views[j].sky
		for i := range j {
			if s.in[i] {
				pairs = append(pairs, [2]int{i, j})
			}
		}
	}
	found := make([][]toneTie, len(pairs))
	err := t.Each(ctx, len(pairs), func(k int) error {
		i, j := pairs[k][0], pairs[k][1]
		found[k] = toneTies(i, j, &views[i].blocks, &views[j].blocks)
		return nil
	})
	s.ties = slices.Concat(found...)
	return s, err
}

// even returns what would be shown without the falloff; has tells which panels have it.
func (s shown) even(f *falloff, has []bool) shown {
	return shown{s.in, f.evenTies(s.ties, has), f.evenSky(s.sky, has)}
}

// less returns what would be shown without other light than the Moon's. The levels bring panels about to the common brightness.
func (s shown) less(light stray, lv []level) shown {
	return shown{s.in, light.glows.evenTies(s.ties), light.halo.evenSky(light.glows.evenSky(s.sky), lv)}
}

// levels finds all panels' levels.
func (s shown) levels() ([]level, error) {
	return matchLevels(len(s.in), s.in, s.ties, skyLevels(s.sky))
}

// brightness is what was found of the panels' brightness.
type brightness struct {
	falloff falloff
	has     []bool // the panels that have it
	levels  []level
	glows   glows
	ties    []toneTie // the places at which the panels were compared, without falloff and glows
}

// matchBrightness finds the falloff of the sensor, the panels' glows, if there are any, and the levels of the panels' mean without both.
func matchBrightness(ctx context.Context, t *pipeline.Task, seen []tonesSeen) (b brightness, err error) {
	b.has = oneSensor(seen)
	s, err := compare(ctx, t, seen, 0)
	if err != nil {
		return b, err
	}
	var light stray
	var unsure float64
	if b.falloff, unsure, light, err = s.explain(b.has); err != nil {
		return b, fmt.Errorf("find how light falls off over the sensor, and what glows: %w", err)
	}
	if unsure > 0 {
		t.Fact("vignetting", 100*b.falloff.corner(), "% at the corners")
		t.Fact("vignetting_unsure", 100*unsure, "%, rms over the sensor")
	}
	light.state(t)
	s = s.even(&b.falloff, b.has)
	if b.levels, err = s.levels(); err == nil && light.found() {
		s = s.less(light, b.levels)
		b.levels, err = s.levels()
	}
	b.glows, b.ties = light.glows, s.ties
	return b, err
}

// explain finds what falloff, with its uncertainty, and what other light explain how the panels differ. Either passes for the other where
// that is not regarded: the one that leaves less is found first, then the other one in what it leaves.
func (s shown) explain(has []bool) (f falloff, unsure float64, light stray, err error) {
	lv, err := s.levels()
	if err != nil {
		return f, 0, light, err
	}
	if f, unsure, err = findFalloff(s, has, lv); err != nil {
		return f, 0, light, err
	}
	if light, err = findStray(s, lv); err != nil {
		return f, 0, light, err
	}
	if light.glows != nil && f.Found {
		plain := s.less(light, lv)
		flat, e1 := plain.levels()
		dim := s.even(&f, has)
		lit, e2 := dim.levels()
		if err := errors.Join(e1, e2); err != nil {
			return f, 0, light, err
		}
		if plain.apart(flat) < dim.apart(lit) {
			if f, unsure, err = findFalloff(plain, has, flat); err != nil {
				return f, 0, light, err
			}
		}
	}
	if !f.Found {
		return f, unsure, light, nil
	}
	s = s.even(&f, has)
	if lv, err = s.levels(); err != nil {
		return f, 0, light, err
	}
	if light, err = findStray(s, lv); err != nil || light.glows == nil {
		return f, unsure, light, err
	}
	// What a falloff of five terms leaves of dust and odd optics passes for glows, too: these must explain much of what is left.
	plain := s.less(light, lv)
	flat, err := plain.levels()
	if err == nil && plain.apart(flat) > mostLeft*s.apart(lv) {
		light.glows, light.halo = nil, halo{}
	}
	return f, unsure, light, err
}

// mostLeft is how much of what a falloff leaves glows may leave.
const mostLeft = 0.5

// apart is by how much the panels differ, in the median, of what places may be off.
func (s shown) apart(lv []level) float64 {
	if len(s.ties) == 0 {
		return 0
	}
	off := make([]float64, len(s.ties))
	for k, t := range s.ties {
		off[k] = math.Abs(t.apart(lv)) / max(lv[t.A].Factor*t.SA, lv[t.B].Factor*t.SB)
	}
	return robust.Median(off)
}

// channels finds the levels and glows of every channel by itself, so that no panel keeps a tint that haze or a low Moon gave
// it: by panel and channel, none where all panels have one channel. The falloff is common to them.
func (b *brightness) channels(ctx context.Context, t *pipeline.Task, seen []tonesSeen) (levels [][]level, all []glows, err error) {
	channels := 0
	for _, s := range seen {
		channels = max(channels, len(s.views)-1)
	}
	if channels <= 0 {
		return nil, nil, nil
	}
	levels = make([][]level, len(seen))
	for c := range channels {
		s, err := compare(ctx, t, seen, c+1)
		if err != nil {
			return nil, nil, err
		}
		s = s.even(&b.falloff, b.has)
		lv, err := s.levels()
		if err != nil {
			return nil, nil, err
		}
		light, err := findStray(s, lv)
		if err != nil {
			return nil, nil, fmt.Errorf("find the glows of panels in channel %d: %w", c+1, err)
		}
		if light.found() {
			if lv, err = s.less(light, lv).levels(); err != nil {
				return nil, nil, err
			}
		}
		for i, l := range lv {
			levels[i] = append(levels[i], l)
		}
		all = append(all, light.glows)
	}
	return levels, all, nil
}

// found tells whether levels change by what was found.
func (l stray) found() bool { return l.glows != nil || l.halo != halo{} }

func (l stray) state(t *pipeline.Task) {
	t.Fact("glow", 100*l.strength, "% of white from a panel's middle to its rim, rms over the panels")
	t.Fact("glow_unsure", 100*l.unsure, "% of white")
	t.Fact("halo", 100*l.spread, "% of white, rms over the sky")
	if l.glows == nil {
		t.FactText("glows", "none found")
	} else {
		t.FactText("glows", "taken out")
	}
}
