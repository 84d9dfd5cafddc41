package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"plenilune/steps/kernel/portable"
)

// From when on something is worth a word.
const (
	softTimes  = 1.3  // coarser than most clips' detail
	fullPct    = 0.5  // of the bright ground saturated
	dimTimes   = 0.6  // of most clips' brightness
	darkShare  = 0.25 // of white, for the night's brightest ground
	brightStep = 1.3  // times from one clip to the next: another exposure or gain, no cloud
	fadeStep   = 0.97 // times from one clip to the next, three times on end, and
	fadeAll    = 0.85 // times over all of these: dew or cloud
	softer     = 1.2  // times, of the last three clips' detail against those before
	trendClips = 3
	softAmong  = 3   // clips, at least, of which one can be told to be the soft one
	faintShare = 0.2 // of the night's brightest ground, below which detail drowns in noise before air or focus blur it
)

// usual is the middle of those values that are known, 0 if none is.
func usual[T any](all []T, of func(T) float64) float64 {
	var v []float64
	for _, x := range all {
		if y := of(x); y > 0 {
			v = append(v, y)
		}
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// clipFlags says what is wrong with a clip, of whose bright ground so many per cent are saturated, against the usual detail of the
// night, 0 where that cannot be held against it.
func clipFlags(c clipState, full, usualPx float64, short bool) []saying {
	out := []saying{}
	if usualPx > 0 && c.FinestPx > softTimes*usualPx {
		out = append(out, saying{"soft", fmt.Sprintf("soft: its finest detail is %.1f px, that of most clips %.1f px; look at focus and air, then shoot it again", c.FinestPx, usualPx)})
	}
	if full > fullPct {
		out = append(out, saying{"overexposed", fmt.Sprintf("overexposed: %.1f %% of its bright ground is saturated; expose shorter and shoot it again", full)})
	}
	if c.Brightness > 0 && c.Brightness < dimTimes {
		out = append(out, saying{"dim", fmt.Sprintf("dim: %.0f %% as bright as most clips; cloud, dew, or a shorter exposure", 100*c.Brightness)})
	}
	if short {
		out = append(out, saying{"cut", "its recorder never finished it; it is used up to the cut"})
	}
	return out
}

// inOrder sorts panels by when they were taken; those that do not say by name, last.
func inOrder(panels []*watchedPanel) []*watchedPanel {
	out := slices.Clone(panels)
	slices.SortStableFunc(out, func(a, b *watchedPanel) int {
		at := func(p *watchedPanel) int64 { return cmp.Or(p.row.MidUnixNS, math.MaxInt64) }
		return cmp.Or(cmp.Compare(at(a), at(b)), cmp.Compare(a.name, b.name))
	})
	return out
}

// regionNotes tell where the size or kind of frames changed.
func regionNotes(panels []*watchedPanel) []saying {
	var out []saying
	kind := func(p *watchedPanel) string {
		l := p.index.Layout
		return fmt.Sprintf("%d × %d px, %d bit, %s", l.Width, l.Height, p.index.Depth, l.Pattern)
	}
	for i, p := range panels {
		if i > 0 && kind(p) != kind(panels[i-1]) {
			out = append(out, saying{"region-changed", fmt.Sprintf("the camera's region or format changed at %s: %s; before, %s", p.name, kind(p), kind(panels[i-1]))})
		}
	}
	return out
}

// rateNotes tell where frames began to come at another rate: exposure or region were changed.
func rateNotes(panels []*watchedPanel) []saying {
	var out []saying
	last := 0.0
	for _, p := range panels {
		t := p.index.TimesUnixNS
		if len(t) < 2 || t[len(t)-1] <= t[0] || t[0] <= 0 {
			continue
		}
		rate := float64(len(t)-1) / (float64(t[len(t)-1]-t[0]) / 1e9)
		if last > 0 && math.Abs(portable.Log(rate/last)) > portable.Log(brightStep) {
			out = append(out, saying{"rate-changed", fmt.Sprintf("frames come at %.0f a second since %s; before, at %.0f", rate, p.name, last)})
		}
		last = rate
	}
	return out
}

// brightNotes tell how the clips' brightness goes: clips in order, their brightness 0 where it is not known.
func brightNotes(clips []clipState) []saying {
	var known []clipState
	for _, c := range clips {
		if c.Brightness > 0 {
			known = append(known, c)
		}
	}
	var out []saying
	for i := 1; i < len(known); i++ {
		if step := known[i].Brightness / known[i-1].Brightness; step > brightStep || step < 1/brightStep {
			out = append(out, saying{"exposure-changed", fmt.Sprintf("%s is %.2f times as bright as %s before it: another exposure or gain, or cloud", known[i].Name, step, known[i-1].Name)})
		}
	}
	if n := len(known); n > trendClips {
		fading := true
		for i := n - trendClips; i < n; i++ {
			step := known[i].Brightness / known[i-1].Brightness
			fading = fading && step < fadeStep && step > 1/brightStep
		}
		if all := known[n-1].Brightness / known[n-1-trendClips].Brightness; fading && all < fadeAll {
			out = append(out, saying{"fading", fmt.Sprintf("the last %d clips get dimmer, by %.0f %% so far: look for dew on the optics and for thin cloud", trendClips, 100*(1-all))})
		}
	}
	return out
}

// sharpNotes tell how the clips' sharpness goes: clips in order. The newest may not have their final stacks yet; what has none
// before that says nothing of how it goes now.
func sharpNotes(clips []clipState) []saying {
	for len(clips) > 0 && clips[len(clips)-1].Quick {
		clips = clips[:len(clips)-1]
	}
	var known []clipState
	for i, c := range clips {
		if c.FinestPx > 0 {
			known = append(known, c)
		}
		if c.Quick && i >= len(clips)-trendClips {
			return nil
		}
	}
	n := len(known)
	if n < 2*trendClips {
		return nil
	}
	span := known[n-trendClips].Name + " to " + known[n-1].Name
	finest := func(c clipState) float64 { return c.FinestPx }
	late, early := usual(known[n-trendClips:], finest), usual(known[:n-trendClips], finest)
	switch {
	case late > softer*early:
		return []saying{{"getting-softer", fmt.Sprintf("%s are softer, %.1f px against %.1f px before: look at the focus, or wait for calmer air", span, late, early)}}
	case early > softer*late:
		return []saying{{"getting-sharper", fmt.Sprintf("%s are sharper, %.1f px against %.1f px before: the first ones may be worth shooting again", span, late, early)}}
	}
	return nil
}

// exposureNote tells that all of the night is exposed too short: the brightest ground far below white.
func exposureNote(panels []*watchedPanel) []saying {
	most := brightestOf(panels)
	if len(panels) < softAmong || most >= darkShare {
		return nil
	}
	return []saying{{"dark", fmt.Sprintf("even the brightest ground so far is at %.0f %% of white: expose longer, unless a brighter part of the Moon is still to come", 100*most)}}
}

// brightestOf is how bright the brightest ground is, share of white.
func brightestOf(panels []*watchedPanel) (most float64) {
	for _, p := range panels {
		most = max(most, p.small.bright)
	}
	return most
}
