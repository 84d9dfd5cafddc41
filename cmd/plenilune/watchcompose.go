package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"plenilune/pipeline"
)

// greenNM is the wavelength that the optics' limit is reckoned with, for the eye's green.
const greenNM = 550

// opticsOf says what the night's optics mean for its clips: a round aperture passes periods down to λ/D.
func opticsOf(n pipeline.Night) opticsState {
	o := opticsState{ArcsecPerPx: n.ScaleArcsecPerPx()}
	if n.Telescope != nil && n.Telescope.ApertureMM > 0 {
		o.LimitArcsec = 206264.806 * greenNM * 1e-6 / n.Telescope.ApertureMM
	}
	return o
}

func quotedList(texts []string) string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = fmt.Sprintf("%q", t)
	}
	return strings.Join(out, ", ")
}

// diskView is what is known of the disk since panels were placed last.
type diskView struct {
	disk  *diskState
	holes []holeState
	next  *nextState
}

// state puts in words what is known.
func (k *nightKnown) state(files []landed, volume func(string) (string, int64, bool)) nightState {
	s := nightState{Event: "night", Title: k.title, Stage: k.stage, Optics: k.optics, Landing: []fileState{}, Clips: []clipState{}, Holes: []holeState{}}
	ordered := inOrder(k.stacked)
	k.addClips(&s, ordered, charted(k.places, ordered), files)
	s.Notes = eachOnce(regionNotes(ordered), rateNotes(ordered), brightNotes(s.Clips), sharpNotes(s.Clips), exposureNote(ordered))
	s.Problems = eachOnce(k.fileSays, k.stackSays, k.placeSays)
	s.Room = room(files, volume)
	if k.view.disk != nil {
		d := *k.view.disk
		d.NorthDeg = k.north
		s.Disk, s.Next = &d, k.view.next
		s.Holes = append(s.Holes, k.view.holes...)
	}
	for _, f := range files {
		if f.verdict == landGrowing || f.verdict == landWaiting {
			s.Landing = append(s.Landing, fileState{filepath.Base(f.path), f.size, map[verdict]string{landGrowing: "being written",
				landWaiting: "at rest, but not finished by its recorder"}[f.verdict]})
		}
	}
	return s
}

// eachOnce joins lists, and leaves out what was said before.
func eachOnce(lists ...[]saying) []saying {
	out := []saying{}
	for _, s := range slices.Concat(lists...) {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// charted are the stacked panels that are placed.
func charted(places *placementsRow, ordered []*watchedPanel) []*chartedPanel {
	var out []*chartedPanel
	if places == nil {
		return nil
	}
	for _, p := range ordered {
		for _, r := range places.Panels {
			if r.ID == p.id && r.Placed {
				out = append(out, &chartedPanel{p, r, r.field(p.row.Width, p.row.Height)})
			}
		}
	}
	return out
}

// addClips lists the clips in the order in which they were taken, then those that are not stacked.
func (k *nightKnown) addClips(s *nightState, ordered []*watchedPanel, placed []*chartedPanel, files []landed) {
	s.Usual = usual(ordered, func(p *watchedPanel) float64 { return p.finest() })
	factor := usual(placed, func(p *chartedPanel) float64 { return p.Factor })
	short := map[string]bool{}
	for _, f := range files {
		short[k.names[f.path]] = short[k.names[f.path]] || f.verdict == landShort
	}
	listed := map[string]bool{"": true}
	var sharp int // clips whose sharpness is known
	for _, p := range ordered {
		if p.finest() > 0 {
			sharp++
		}
	}
	brightest := brightestOf(ordered)
	for _, p := range ordered {
		c := clipState{Name: p.name, State: "stacked", Frames: p.row.FramesTotal, Kept: p.row.FramesKept, Quick: p.quick, FinestPx: round2(p.finest()),
			FinestSky: round2(p.finest() * k.optics.ArcsecPerPx), MidUnixMS: p.row.MidUnixNS / 1e6, Picture: p.picture}
		if i := slices.IndexFunc(placed, func(q *chartedPanel) bool { return q.id == p.id }); i >= 0 {
			c.State, c.Brightness = "placed", round2(factor/placed[i].Factor)
			for _, corner := range placed[i].field.corners() {
				c.Outline = append(c.Outline, corner)
			}
		} else if why, tried := k.apart(p); tried {
			c.State, c.Why = "apart", why
		}
		against := s.Usual
		if sharp < softAmong || p.small.bright < faintShare*brightest {
			against = 0
		}
		c.Flags = clipFlags(c, k.saturated[p.id], against, short[p.name])
		if why, no := k.noFinal[p.name]; no {
			c.Flags = append(c.Flags, saying{"stack-failed", "no stack could be made of it but a quick one: " + why})
		}
		s.Clips = append(s.Clips, c)
		listed[p.name] = true
	}
	for _, f := range files {
		name := k.names[f.path]
		if listed[name] || !f.usable() {
			continue
		}
		c := clipState{Name: name, State: "landed", Frames: f.index.Frames, Flags: []saying{}}
		if why, bad := k.failed[name]; bad {
			c.State, c.Why = "failed", why
		} else if k.tried[f.path] {
			c.State, c.Why = "unused", "it shows nothing new: empty, without a sound frame, or the same as another clip"
		}
		s.Clips = append(s.Clips, c)
	}
}

// apart tells why a panel that was tried is not placed.
func (k *nightKnown) apart(p *watchedPanel) (why string, tried bool) {
	if k.places == nil {
		return "", false
	}
	for _, r := range k.places.Panels {
		if r.ID == p.id {
			return r.Why, true
		}
	}
	return "", false
}

// viewDisk tells how much of the disk is there, what is missing, and where to point next; region says that only enclosed gaps are
// missed.
func viewDisk(places *placementsRow, panels []*chartedPanel, region bool) diskView {
	box := viewBox(places, panels)
	d := &diskState{Box: box, Scale: places.Scale}
	view := diskView{disk: d}
	l := places.Limb
	if !l.Found {
		for _, h := range places.Holes {
			view.holes = append(view.holes, holeState{Kind: "hole", X: h.X, Y: h.Y,
				Text: fmt.Sprintf("hole of %.0f px², %s of the picture's middle", h.Area, offsetWords(h.X-box[0]-float64(box[2]/2), h.Y-box[1]-float64(box[3]/2), 0, " px"))})
		}
		return view
	}
	d.Limb = []float64{l.X, l.Y, l.Radius}
	c := newChart(l.X, l.Y, l.Radius, panels)
	d.ShownPct = math.Floor(1000*c.seen) / 10
	scale := d.Scale
	if scale == 0 {
		scale = 31.1 * 60 / (2 * l.Radius) // a mean Moon
	}
	gaps := slices.DeleteFunc(c.gaps(), func(g gap) bool { return region && !g.enclosed })
	for _, g := range gaps {
		view.holes = append(view.holes, c.holeAt(g, scale))
	}
	view.next = nextOf(c.nextAim(gaps, panels), panels, c, scale)
	return view
}

// holeAt names a gap with its place.
func (c *chart) holeAt(g gap, scale float64) holeState {
	h := holeState{Kind: "not shot yet", X: c.x + float64(g.u*c.r), Y: c.y + float64(g.v*c.r), SharePct: round2(100 * g.share)}
	if g.enclosed || c.seen >= diskShare {
		h.Kind = "hole"
	}
	if g.share > wideGap {
		h.Text = fmt.Sprintf("%s: %.0f %% of the disk", h.Kind, 100*g.share)
		return h
	}
	arcmin := c.r * scale / 60
	h.Text = fmt.Sprintf("%s %s, %s of its middle: %.1f %% of the disk", h.Kind, placeWords(g.u, g.v), offsetWords(g.u*arcmin, g.v*arcmin, 1, "′"), 100*g.share)
	return h
}

// diskShare is how much of the sunlit ground must be shown for what is missing to count as a hole wherever it lies.
const diskShare = 0.9

// wideGap is how much of the disk a gap may be to have a place.
const wideGap = 0.15

// nextOf puts an aim in words.
func nextOf(a *aim, panels []*chartedPanel, c *chart, scale float64) *nextState {
	if a == nil {
		return nil
	}
	f := a.field
	dx, dy := f.x-c.x, f.y-c.y
	wide, high := f.w*f.scale, f.h*f.scale
	n := &nextState{
		Place:       placeWords(dx/c.r, dy/c.r),
		RightArcmin: round2(dx * scale / 60), UpArcmin: round2(-dy * scale / 60),
		RightFields: round2(dx / wide), UpFields: round2(-dy / high),
		Neighbours: []string{}, NeighbourPct: []float64{},
	}
	var words []string
	for _, o := range a.neighbours {
		n.Neighbours, n.NeighbourPct = append(n.Neighbours, o.panel.name), append(n.NeighbourPct, math.Round(100*o.share))
		if len(words) < 3 {
			words = append(words, fmt.Sprintf("%s by %.0f %%", o.panel.name, 100*o.share))
		}
	}
	for _, corner := range f.corners() {
		n.Outline = append(n.Outline, corner)
	}
	last := panels[len(panels)-1]
	n.FromLast = fmt.Sprintf("from the field of %s, the last clip: %s", last.name, offsetWords((f.x-last.X)/wide, (f.y-last.Y)/high, 1, " fields"))
	n.Text = fmt.Sprintf("point %s of the disk's middle (in fields: %s), %s", offsetWords(dx*scale/60, dy*scale/60, 1, "′"), offsetWords(dx/wide, dy/high, 1, ""), n.Place)
	if len(words) > 0 {
		n.Text += ", overlapping " + strings.Join(words, ", ")
	}
	return n
}

// room tells how many more clips the disk holds.
func room(files []landed, volume func(string) (string, int64, bool)) roomState {
	r := roomState{FreeBytes: -1, ClipsLeft: -1}
	if len(files) == 0 {
		return r
	}
	latest := files[0]
	list := make([]*landed, len(files))
	for i, f := range files {
		if list[i] = &files[i]; f.mod.After(latest.mod) {
			latest = f
		}
	}
	if _, free, ok := volume(filepath.Dir(latest.path)); ok {
		r.FreeBytes = free
		r.ClipsLeft, r.ClipBytes = clipsAhead(list, free)
	}
	switch {
	case r.ClipsLeft >= 0:
		r.Text = fmt.Sprintf("room for %d more clips of %s (%s free)", r.ClipsLeft, bytesText(r.ClipBytes), bytesText(r.FreeBytes))
	case r.FreeBytes >= 0:
		r.Text = bytesText(r.FreeBytes) + " free"
	}
	return r
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }
