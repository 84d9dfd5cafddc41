package mosaic

import (
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// The Moon's apparent diameter in arcminutes, seen from the Earth's middle: mean, and at the most and the least
// distant; for an observer with the Moon overhead it is up to 1.7 % more (from the mean radius 1737.4 km and distances of
// 384 400, 406 700 and 356 400 km: 2·asin(R/d)).
const (
	meanDiameter  = 31.1
	leastDiameter = 29.4
	mostDiameter  = 34.1
)

// leastArc is how much of the limb, in degrees, tells the Moon's radius: the sagitta of 60° is 13 % of it, so that the
// limb's relief moves it by half a per cent; that of 20° is 1.5 %, and it moves by 4 %.
const leastArc = 60

// How it is known how large the Moon was in the sky, in the words of the placements.
const (
	moonOfSite = "site" // seen from the site at the epoch
	moonOfHour = "hour" // seen from the Earth's middle at the clips' times: from its surface it is larger, by up to 1.8 %
	moonOfMean = "mean" // whenever it was
)

// moonSize is how wide the Moon is in the sky, and how far it could be.
type moonSize struct {
	arcmin      float64
	least, most float64
	from, words string
	borneOut    bool // by how the Moon turned under the panels
}

// moonFor tells how wide the Moon was, as well as site and times tell.
func moonFor(g geometry, tables []panelTable) moonSize {
	wide := func(km float64) float64 { return 2 * portable.Asin(moon.RadiusKM/km) * 180 / math.Pi * 60 }
	if km := g.Sphere.DistanceKM; km > 0 {
		s := moonSize{wide(km), leastDiameter, mostDiameter, moonOfSite, "the Moon of that hour,", g.Sphere.Carried}
		if s.borneOut {
			s.least, s.most = s.arcmin, s.arcmin
		}
		return s
	}
	at := middleTime(g, tables)
	if at == 0 {
		return moonSize{meanDiameter, leastDiameter, mostDiameter, moonOfMean, "a mean Moon", false}
	}
	v := moon.Centre(moon.Unix(at))
	return moonSize{wide(v.DistanceKM), leastDiameter, mostDiameter, moonOfHour, "the Moon of that hour, as the Earth’s middle sees it,", false}
}

// chooseScale compares the stated scale with the limb's. A stated one is believed as long as the Moon could be as large as it then is, give
// or take 3 %; the limb's is exact if site and times tell how far the Moon was and its turn under the panels bears the clocks out. A short arc
// of the limb does not tell the radius (see leastArc).
func chooseScale(t *pipeline.Task, stated float64, l limbTable, size moonSize) (scale float64, source string, estimated bool) {
	if !l.Found || l.ArcDeg < leastArc {
		if stated > 0 {
			return stated, "stated", false
		}
		return 0, "", false
	}
	limb := size.arcmin * 60 / (2 * l.R)
	t.Fact("scale_from_limb", limb, "arcsec/px")
	if stated <= 0 {
		return limb, "limb", !size.borneOut
	}
	diameter := stated * 2 * l.R / 60
	if diameter > size.most*1.03 || diameter < size.least*0.97 {
		t.Warn("scale-differs", "the stated optics give %.4g arcsec/px, with which the Moon would be %.1f′ wide; "+
			"its limb gives %.4g arcsec/px for %s of %.1f′, and that is used", stated, diameter, limb, size.words, size.arcmin)
		return limb, "limb", !size.borneOut
	}
	if d := limb / stated; size.from == moonOfSite && math.Abs(d-1) > 0.03 {
		t.Warn("scale-differs", "the stated optics give %.4g arcsec/px, the limb %.4g for the Moon of the clips' hour: either the optics or the clips' "+
			"clocks are wrong; the optics are believed", stated, limb)
	}
	return stated, "stated", false
}
