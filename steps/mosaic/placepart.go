package mosaic

import (
	"context"

	"plenilune/pipeline"
)

type eachFunc func(n int, fn func(i int) error) error

// placeSettings are the hints for panels; the stated scale, of the sensor's pixels, counts only together with them.
type placeSettings struct {
	Hints             []hintSettings
	StatedArcsecPerPx float64
	Epoch             epochSettings
	Views             []viewSettings // by panel; none where site or times are not known
	NoViews           string         // why there are none
	Mount             string
	North             orientSettings // as stated, if the views are known
}

// eachOf shares work out until it is called off.
func eachOf(ctx context.Context, t *pipeline.Task) eachFunc {
	return func(n int, fn func(i int) error) error {
		return t.Each(ctx, n, func(i int) error {
			if err := ctx.Err(); err != nil {
				return err
			}
			return fn(i)
		})
	}
}

// dropSky empties what was seen of panels that show bare sky.
func dropSky(ss []seen, tables []panelTable) {
	for i := range tables {
		if tables[i].SkyOnly {
			ss[i].Points, ss[i].Brinks = nil, nil
			ss[i].Tones.Bright = ss[i].Tones.Sky
		}
	}
}

// runPlace finds where every panel lies.
func runPlace(ctx context.Context, set placeSettings, t *pipeline.Task) error {
	ss, es, err := readLooks(ctx, t)
	if err != nil {
		return err
	}
	ps, err := readPanels(ctx, t)
	if err != nil {
		return err
	}
	tables, err := readTables(t)
	if err != nil {
		return err
	}
	fine, err := fineness(tables)
	if err != nil {
		return err
	}
	set.StatedArcsecPerPx /= fine
	dropSky(ss, tables)
	each := eachOf(ctx, t)
	times := make([]int64, len(tables))
	for i := range tables {
		times[i] = tables[i].MidUnixNS
	}
	var found linksTable
	if err := t.One("links").Table(&found); err != nil {
		return err
	}
	g, err := place(ss, es, ps, found.Links, times, set, each, t.Progress)
	if err != nil {
		return err
	}
	statePlaces(t, g)
	stateSphere(t, set, g.Sphere, g.Limb.Found)
	return t.PutTable("geometry", g)
}

// statePlaces tells how many panels are placed and what the limb is like.
func statePlaces(t *pipeline.Task, g geometry) {
	n, hinted := 0, 0
	for _, p := range g.Panels {
		if p.Placed {
			n++
		}
		if p.Hint == hintUsed || p.Hint == hintAlone {
			hinted++
		}
	}
	t.Fact("placed", float64(n), "panels")
	if hinted > 0 {
		t.Fact("placed_by_hint", float64(hinted), "panels")
	}
	if g.Limb.Found {
		t.Fact("limb_radius", g.Limb.R, "px")
		t.Fact("limb_rms", g.Limb.RMS, "px")
	}
}

// place is runPlace without the engine: links, the largest group, then windows in the overlaps and the limb,
// each round measured where the round before put things.
func place(ss []seen, es []small, ps []panel, links []link, times []int64, set placeSettings, each eachFunc, progress func(float64)) (geometry, error) {
	n := &network{in: make([]bool, len(ps))}
	if len(set.Views) > 0 {
		n.sphere = &sphere{epoch: set.Epoch, views: set.Views, mount: set.Mount, stated: set.North}
		n.drift.foretold = n.foretell()
	}
	for _, p := range ps {
		n.w, n.h = append(n.w, p.w), append(n.h, p.h)
		n.poses = append(n.poses, pose{Scale: 1})
	}
	progress(0.3)
	links = pointed(links, ss)
	kept, anchor, err := n.placeByLinks(links, ss)
	if err != nil {
		return geometry{}, err
	}
	if n.sphere != nil {
		times = n.doubtClocks(times)
	}
	n.startDrift(times)
	if n.sphere != nil {
		if kept, anchor, err = n.overSphere(links, kept, ss, times, anchor); err != nil {
			return geometry{}, err
		}
		ss = n.carriedSights(ss)
	}
	if len(set.Hints) > 0 {
		n.findLimb(ss, 4)
	}
	more, err := n.seekLost(ss, es, n.aims(set.Hints, set.StatedArcsecPerPx), each)
	if err != nil {
		return geometry{}, err
	}
	if len(more) > 0 {
		if kept, anchor, err = n.placeByLinks(append(kept, more...), ss); err != nil {
			return geometry{}, err
		}
	}
	n.links = n.among(kept)
	n.placeByHint(set.Hints, set.StatedArcsecPerPx, ss)
	n.drift.known = false // the points' turns are rough: the windows' will do
	n.findLimb(ss, 4)
	if err := n.refine(ss, ps, times, anchor, each, progress); err != nil {
		return geometry{}, err
	}
	g := n.table(ss, groups(len(ps), kept))
	n.judgeHints(&g, set.Hints, set.StatedArcsecPerPx)
	return g, nil
}

// table frames the picture and says where everything lies in it.
func (n *network) table(ss []seen, of []int) geometry {
	w, h := n.frame()
	g := geometry{Width: w, Height: h, Limb: n.limbTable(), Sphere: n.sphereTable(), Overlaps: n.overlapFits()}
	bends, rms := n.bendPanels(), n.residuals()
	for i, p := range n.poses {
		q := placed{W: n.w[i], H: n.h[i], Placed: n.in[i], Group: of[i], Empty: ss[i].Tones.empty(), Tones: ss[i].Tones}
		if n.in[i] {
			q.X, q.Y, q.TurnRad, q.Scale, q.RMS = p.X, p.Y, p.Turn, p.Scale, rms[i]
			q.Bend = bends[i]
			q.Globe = *n.globe(i)
		}
		g.Panels = append(g.Panels, q)
	}
	return g
}

// refine brings placements from feature points' accuracy to that of the pixels.
func (n *network) refine(ss []seen, ps []panel, times []int64, anchor int, each eachFunc, progress func(float64)) error {
	rounds := []windowing{{40, 24, 4}, {40, 20, 2}, {40, 20, 1}, {40, 20, 1}}
	bands, err := n.bands(ps, each)
	if err != nil {
		return err
	}
	again := false // the bands are those of the round before
	for r, o := range rounds {
		if err := n.measureOverlaps(bands, o, again, each); err != nil {
			return err
		}
		n.tieByLinks()
		if r > 0 {
			n.measureLimb(ps, ss)
		}
		if r == 1 {
			n.startDrift(times)
		}
		if err := n.settle(anchor, 10); err != nil {
			return err
		}
		n.judgeLimb(r)
		again = r > 0
		if r < orientRounds {
			rims := n.rims
			if r == 0 {
				rims = n.limbRims(ss)
			}
			anew, err := n.orient(anchor, rims)
			if err == nil && anew {
				bands, err = n.bands(ps, each)
				again = false
			}
			if err != nil {
				return err
			}
		}
		progress(0.3 + float64(float64(0.6*float64(r+1))/float64(len(rounds))))
	}
	return nil
}

// orientRounds is after how many of the first rounds panels are carried anew: the windows of the rounds before tell north better
// than the points did.
const orientRounds = 2

// bands takes the bands out of the placed panels, carried.
func (n *network) bands(ps []panel, each eachFunc) ([]band, error) {
	bands := make([]band, len(ps))
	return bands, each(len(ps), func(i int) error {
		if n.in[i] {
			bands[i] = bandOf(n.globe(i).panel(ps[i]))
		}
		return nil
	})
}
