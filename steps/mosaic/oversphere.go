package mosaic

import (
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/portable"
)

// overSphere looks for the limb and the Moon's north among panels placed by points; if they are found, the panels are carried over the
// sphere and placed again by all their links.
func (n *network) overSphere(links, kept []link, s sights, times []int64, anchor int) ([]link, int, error) {
	for _, tol := range [2]float64{4, 12} {
		if n.findLimb(s, tol); n.limb.Found {
			break
		}
	}
	ok, err := n.orient(anchor, n.limbRims(s))
	if err != nil || !ok {
		return kept, anchor, err
	}
	kept, anchor, err = n.placeByLinks(n.carriedLinks(links), n.carriedSights(s))
	if err == nil {
		n.startDrift(times)
	}
	return kept, anchor, err
}

// globe returns how a panel is carried.
func (n *network) globe(i int) *globe {
	if n.sphere == nil || n.sphere.globes == nil {
		return &globe{}
	}
	return &n.sphere.globes[i]
}

func (n *network) carriedSights(s sights) sights {
	out := make(sights, len(s))
	for i := range s {
		out[i] = n.globe(i).seen(s[i])
	}
	return out
}

func (n *network) carriedLinks(links []link) []link {
	out := make([]link, len(links))
	for k, l := range links {
		out[k] = l
		if l.taken == nil {
			out[k].taken = l.Pts
		}
		out[k].Pts = make([]pointPair, len(l.Pts))
		for i, p := range out[k].taken {
			p.AX, p.AY = n.globe(l.A).carried(p.AX, p.AY)
			p.BX, p.BY = n.globe(l.B).carried(p.BX, p.BY)
			out[k].Pts[i] = p
		}
	}
	return out
}

// sphereTable is what was reckoned of the Moon's turn and what the panels showed of it.
type sphereTable struct {
	DistanceKM float64 // of the Moon's middle at the epoch; 0: unknown
	SubLonDeg  float64 // the sub-observer point at the epoch
	SubLatDeg  float64
	Carried    bool    // the panels are carried over the sphere
	Mirrored   bool    // the picture is mirrored against the sky
	NorthDeg   float64 // how far the Moon's north is turned from up, clockwise
	Share      float64 // the ball's turn found, over that reckoned; 0: not to be told
	Sigma      float64 // its formal error
	ViewDeg    float64 // the largest angle between the view of a panel and that of the epoch
	Sway       float64 // the most that the middle of the disk moved against the limb between panels, px
	Mount      string
	Odd        []oddClock
	// The largest turn of the field between two panels, as the clocks have it for such a mount and as found; and how far
	// the panels stray from that course, rms.
	ForetoldDeg, FoundDeg, StrayDeg float64
}

func (n *network) sphereTable() sphereTable {
	s := n.sphere
	if s == nil {
		return sphereTable{}
	}
	t := sphereTable{DistanceKM: s.epoch.DistanceKM, SubLonDeg: s.epoch.LonDeg, SubLatDeg: s.epoch.LatDeg, Carried: s.found, Mirrored: s.mirrored, NorthDeg: wrap(s.turn) * 180 / math.Pi, Share: s.share, Sigma: s.sigma}
	if n.limb.Found {
		t.Sway = n.sway()
	}
	for i, v := range s.views {
		if n.in[i] && v.Known {
			t.ViewDeg = max(t.ViewDeg, portable.Hypot(v.EastDeg, v.NorthDeg))
		}
	}
	f := n.foretell()
	t.Mount, t.Odd = f.mount, n.odd
	var fore, found, off []float64
	for i, p := range n.poses {
		if n.in[i] && s.views[i].Known {
			fore, found = append(fore, f.turn[i]), append(found, p.Turn)
			off = append(off, wrap(p.Turn-f.turn[i]-found[0]+fore[0]))
		}
	}
	if len(off) > 1 {
		t.ForetoldDeg, t.FoundDeg, t.StrayDeg = widest(fore)*180/math.Pi, widest(found)*180/math.Pi, scatter(off)*180/math.Pi
	}
	return t
}

// widest returns the largest angle from the first of some directions on one side to that on the other, in radians.
func widest(turns []float64) float64 {
	lo, hi := 0.0, 0.0
	for _, t := range turns {
		d := wrap(t - turns[0])
		lo, hi = min(lo, d), max(hi, d)
	}
	return hi - lo
}

// scatter is the standard deviation.
func scatter(v []float64) float64 {
	var sum, square float64
	for _, x := range v {
		sum += x
	}
	mean := sum / float64(len(v))
	for _, x := range v {
		square += float64((x - mean) * (x - mean))
	}
	return math.Sqrt(square / float64(len(v)))
}

// What site, clocks and mount foretell is doubted where the share of the ball's turn is off by so many times its error and by
// so much, or the field's turn strays by so much, rms.
const (
	sureErrors   = 5
	sureShare    = 0.5
	mostStrayDeg = 3.0
)

// warnSphere says what contradicts site, clocks or mount.
func warnSphere(t *pipeline.Task, set placeSettings, s sphereTable) {
	if !s.Carried && s.Share > 0 && math.Abs(s.Share-1) > max(sureShare, sureErrors*s.Sigma) {
		t.Warn("view-differs", "between the panels the Moon turned by %.0f %% of what site and times say, and is taken to stand still: "+
			"correct the site, or the times if the camera's clock was wrong", 100*s.Share)
	}
	if set.Mount != "" && s.StrayDeg > mostStrayDeg {
		t.Warn("field-turn-differs", "the field turned by %.1f° between the panels, where site, times and a mount that is %s make it %.1f°: "+
			"correct mount, site, or the times if the camera's clock was wrong; the turn found is used", s.FoundDeg, set.Mount, s.ForetoldDeg)
	}
}

// stateSphere tells what became of the Moon's turn.
func stateSphere(t *pipeline.Task, set placeSettings, s sphereTable, limb bool) {
	if set.NoViews != "" {
		t.FactText("sphere", "not regarded: "+set.NoViews)
		return
	}
	t.Fact("libration_lon", set.Epoch.LonDeg, "deg")
	t.Fact("libration_lat", set.Epoch.LatDeg, "deg")
	t.Fact("view_turn", s.ViewDeg, "deg")
	t.Fact("view_sway", s.Sway, "px")
	if s.Mount != "" {
		t.FactText("mount", s.Mount)
		t.Fact("field_turn_foretold", s.ForetoldDeg, "deg")
		t.Fact("field_turn_found", s.FoundDeg, "deg")
		t.Fact("field_turn_strays", s.StrayDeg, "deg")
	}
	if s.Share > 0 {
		t.Fact("view_turn_found", 100*s.Share, "% of that reckoned")
		t.Fact("view_turn_error", 100*s.Sigma, "%")
	}
	warnSphere(t, set, s)
	switch {
	case s.Carried:
	case !limb:
		t.FactText("sphere", "not regarded: no limb was found")
		return
	case s.Sway < leastSway:
		t.FactText("sphere", "not regarded: the Moon hardly turned")
		return
	default:
		t.FactText("sphere", "not regarded: the overlaps do not tell how the Moon's north lies")
		return
	}
	t.FactText("sphere", "panels carried to the middle of the session")
}

// north is the direction of the Moon's north in the picture, in degrees anticlockwise from its top.
func (s sphereTable) north() float64 {
	return wrap(otherWay(s.NorthDeg, s.Mirrored)*math.Pi/180) * 180 / math.Pi
}

// otherWay turns degrees clockwise into degrees anticlockwise and back. In a mirrored picture the disk that a sphere turns has its
// north below.
func otherWay(deg float64, mirrored bool) float64 {
	if mirrored {
		return 180 - deg
	}
	return -deg
}
