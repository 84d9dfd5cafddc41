package mosaic

import (
	"context"
	"fmt"
	"slices"

	"plenilune/pipeline"
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

// without returns what would be shown without the falloff and the glows; has tells which panels have the falloff.
func (s shown) without(f *falloff, has []bool, g glows) shown {
	return shown{s.in, g.evenTies(f.evenTies(s.ties, has)), g.evenSky(f.evenSky(s.sky, has))}
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
	if b.levels, err = s.levels(); err != nil {
		return b, err
	}
	f, unsure, err := findFalloff(s.in, b.has, b.levels, s.ties, s.sky)
	if err != nil {
		return b, fmt.Errorf("find how light falls off over the sensor: %w", err)
	}
	if unsure > 0 {
		t.Fact("vignetting", 100*f.corner(), "% at the corners")
		t.Fact("vignetting_unsure", 100*unsure, "%, rms over the sensor")
	}
	if b.falloff = f; f.Found {
		s = s.without(&f, b.has, nil)
		if b.levels, err = s.levels(); err != nil {
			return b, err
		}
	}
	g, strength, unsure, err := findGlow(s, b.levels)
	if err != nil {
		return b, fmt.Errorf("find the glows of panels: %w", err)
	}
	t.Fact("glow", 100*strength, "% of white from a panel's middle to its rim, rms over the panels")
	t.Fact("glow_unsure", 100*unsure, "% of white")
	if b.glows = g; g == nil {
		t.FactText("glows", "none found")
	} else {
		t.FactText("glows", "taken out")
		s = s.without(&falloff{}, b.has, g)
		b.levels, err = s.levels()
	}
	b.ties = s.ties
	return b, err
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
		s = s.without(&b.falloff, b.has, nil)
		lv, err := s.levels()
		if err != nil {
			return nil, nil, err
		}
		g, _, _, err := findGlow(s, lv)
		if err != nil {
			return nil, nil, fmt.Errorf("find the glows of panels in channel %d: %w", c+1, err)
		}
		if g != nil {
			if lv, err = s.without(&falloff{}, b.has, g).levels(); err != nil {
				return nil, nil, err
			}
		}
		for i, l := range lv {
			levels[i] = append(levels[i], l)
		}
		all = append(all, g)
	}
	return levels, all, nil
}
