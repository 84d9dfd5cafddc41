package mosaic

import (
	"fmt"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// viewSettings is how the Moon stood while a panel was taken against how it stood at the epoch, the middle of the session. It stands in
// records, and so it is reckoned for a place near the site (see nearby), and rounded to what a picture of some thousand pixels shows: a
// thousandth of a degree is 0.02 px there.
type viewSettings struct {
	Known             bool
	EastDeg, NorthDeg float64 // see moon.Aspect
	AxisDeg           float64
	UprightDeg        float64
	DistanceKM        float64
	Squash            float64 // by how much of themselves upright lengths are shorter than level ones: the air's work
	ZenithDeg         float64 // in which direction; 0 where nothing is squashed
}

func (v viewSettings) aspect() moon.Aspect {
	return moon.Aspect{EastDeg: v.EastDeg, NorthDeg: v.NorthDeg, AxisDeg: v.AxisDeg, UprightDeg: v.UprightDeg, DistanceKM: v.DistanceKM}
}

// epochSettings is how the Moon stood at the epoch.
type epochSettings struct{ LonDeg, LatDeg, DistanceKM float64 }

// farthestView is by how many degrees the Moon may be turned against the epoch: farther, the ground at the limb is another.
const farthestView = 10.0

// Why panels are joined without regard to the Moon's turn.
const (
	noSphere = "the mosaic is told to leave the sphere out"
	noSite   = "the manifest states no site"
	noTimes  = "the clips say no times"
)

// viewsFor reckons the views of the panels from site and times, or takes those that are stated; without them it says why not.
func viewsFor(x *pipeline.Expansion, items []pipeline.Item, set *Settings) (epoch epochSettings, views []viewSettings, why string, err error) {
	site := x.Night().Site
	switch {
	case !set.Sphere:
		return epoch, nil, noSphere, nil
	case site == nil && set.Views != nil:
		epoch, views, why = set.Views.of(x, items)
		return epoch, views, why, nil
	case site == nil:
		return epoch, nil, noSite, nil
	}
	times := make([]int64, len(items))
	for i, it := range items {
		var t panelTable
		if err := x.Table(it.Values["panel"], &t); err != nil {
			return epoch, nil, "", err
		}
		if times[i] = t.MidUnixNS; t.SkyOnly {
			times[i] = 0 // bare sky has no ground to carry
		}
	}
	epoch, views = viewsAt(nearby(*site), times)
	if views == nil {
		why = noTimes
	}
	x.InsteadOfSite(viewsText(epoch, items, views))
	for i, v := range views {
		if times[i] > 0 && !v.Known {
			x.Warn("view-far", fmt.Sprintf("by its time %s was taken when the Moon was turned by more than %g° from how most clips saw it: it is joined without regard to that",
				pipeline.ClipName(items[i].ID), farthestView))
		}
	}
	return epoch, views, why, nil
}

// siteGridDeg is between how many degrees of latitude and longitude places are told apart. Rounded as they are, the views of a session
// told the site to some hundred metres, with the clips' times, since each bears on the same two unknowns; of a grid they tell a corner.
const siteGridDeg = 0.5

// nearby is the corner of a grid that lies nearest to a site, at sea level: at the most 40 km off, where the Moon is seen from 0.006°
// aside. Nearly all of that is the same for all clips, and shows in nothing.
func nearby(site pipeline.Site) moon.Site {
	return moon.Site{LatitudeDeg: rounded(site.LatitudeDeg, 1/siteGridDeg), LongitudeDeg: rounded(site.LongitudeDeg, 1/siteGridDeg)}
}

// viewsAt is viewsFor a place and times in nanoseconds since 1970; those not above zero are unknown.
func viewsAt(site moon.Site, times []int64) (epochSettings, []viewSettings) {
	known := slices.DeleteFunc(slices.Clone(times), func(t int64) bool { return t <= 0 })
	if len(known) == 0 {
		return epochSettings{}, nil
	}
	slices.Sort(known)
	n := len(known)
	at := site.View(moon.Unix(known[(n-1)/2] + (known[n/2]-known[(n-1)/2])/2))
	views := make([]viewSettings, len(times))
	for i, t := range times {
		if t <= 0 {
			continue
		}
		v := site.View(moon.Unix(t))
		a := v.Against(at)
		if portable.Hypot(a.EastDeg, a.NorthDeg) > farthestView {
			continue
		}
		views[i] = viewSettings{Known: true, EastDeg: rounded(a.EastDeg, 1e3), NorthDeg: rounded(a.NorthDeg, 1e3),
			AxisDeg: rounded(a.AxisDeg, 1e2), UprightDeg: rounded(a.UprightDeg, 1e2), DistanceKM: rounded(a.DistanceKM, 0.1)}
		if h := v.Horizon.AltitudeDeg; h > 0 {
			views[i].Squash = rounded(moon.Flattening(h)-moon.Flattening(90), 1e5)
		}
		if views[i].Squash > 0 {
			views[i].ZenithDeg = rounded(a.ZenithDeg, 10)
		}
	}
	return epochSettings{rounded(at.SubLonDeg, 100), rounded(at.SubLatDeg, 100), rounded(at.DistanceKM, 0.1)}, views
}

// rounded rounds to parts of one; never to −0, which settings may not be.
func rounded(v, parts float64) float64 { return float64(math.Round(v*parts)/parts) + 0 }
