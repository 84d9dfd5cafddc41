package mosaic

import (
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
)

// viewSettings is how the Moon stood while a panel was taken against how it stood at the epoch, the middle of the session. It is
// rounded to what a picture of ten thousand pixels can show, and tells nothing of the site.
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

// Why panels are joined without regard to the Moon's turn.
const (
	noSphere = "the mosaic is told to leave the sphere out"
	noSite   = "the manifest states no site"
	noTimes  = "the clips say no times"
)

// viewsFor reckons the views of the panels from site and times; without them it says why not.
func viewsFor(x *pipeline.Expansion, items []pipeline.Item, sphere bool) (epoch epochSettings, views []viewSettings, why string, err error) {
	site := x.Night().Site
	switch {
	case !sphere:
		return epoch, nil, noSphere, nil
	case site == nil:
		return epoch, nil, noSite, nil
	}
	times := make([]int64, len(items))
	for i, it := range items {
		var t panelTable
		if err := x.Table(it.Values["panel"], &t); err != nil {
			return epoch, nil, "", err
		}
		times[i] = t.MidUnixNS
	}
	epoch, views = viewsAt(moon.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, ElevationM: site.ElevationM}, times)
	if views == nil {
		why = noTimes
	}
	return epoch, views, why, nil
}

// viewsAt is viewsFor a place and times in nanoseconds since 1970; those not above zero are unknown.
func viewsAt(site moon.Site, times []int64) (epochSettings, []viewSettings) {
	first, last := int64(math.MaxInt64), int64(0)
	for _, t := range times {
		if t > 0 {
			first, last = min(first, t), max(last, t)
		}
	}
	if last == 0 {
		return epochSettings{}, nil
	}
	at := site.View(moon.Unix(first + (last-first)/2))
	views := make([]viewSettings, len(times))
	for i, t := range times {
		if t <= 0 {
			continue
		}
		v := site.View(moon.Unix(t))
		a := v.Against(at)
		views[i] = viewSettings{Known: true, EastDeg: rounded(a.EastDeg, 1e4), NorthDeg: rounded(a.NorthDeg, 1e4),
			AxisDeg: rounded(a.AxisDeg, 1e3), UprightDeg: rounded(a.UprightDeg, 1e3), DistanceKM: math.Round(a.DistanceKM)}
		if h := v.Horizon.AltitudeDeg; h > 0 {
			views[i].Squash = rounded(moon.Flattening(h)-moon.Flattening(90), 1e5)
		}
		if views[i].Squash > 0 {
			views[i].ZenithDeg = rounded(a.ZenithDeg, 10)
		}
	}
	return epochSettings{rounded(at.SubLonDeg, 100), rounded(at.SubLatDeg, 100), math.Round(at.DistanceKM)}, views
}

// rounded rounds to parts of one; never to −0, which settings may not be.
func rounded(v, parts float64) float64 { return math.Round(v*parts)/parts + 0 }
