package publish

import (
	"fmt"
	"math"
	"time"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// when tells when panels were taken, and how the Moon then was, as from the Earth's middle; "" if no time is known.
func when(panels []panelRow) string {
	first, last := int64(math.MaxInt64), int64(0)
	for _, p := range panels {
		if p.MidUnixNS > 0 {
			first, last = min(first, p.MidUnixNS), max(last, p.MidUnixNS)
		}
	}
	if last == 0 {
		return ""
	}
	a, b := time.Unix(0, first).UTC(), time.Unix(0, last).UTC()
	span := a.Format("2006-01-02 15:04")
	switch {
	case a.Format("2006-01-02") != b.Format("2006-01-02"):
		span += " to " + b.Format("2006-01-02 15:04")
	case span != b.Format("2006-01-02 15:04"):
		span += " to " + b.Format("15:04")
	}
	mid := first + (last-first)/2
	v := moon.Centre(moon.Unix(mid))
	return fmt.Sprintf("The Moon on %s UTC: %s, %.0f %% lit, %.1f days after new Moon; apparent diameter %.1f′, selenographic colongitude of the Sun %.1f°.",
		span, phaseName(v), 100*v.Lit, ageDays(mid), 2*v.SemidiameterArcsec/60, v.ColongitudeDeg())
}

// phaseName is what almanacs call a phase; the full and the new Moon have a day to either side, quarters half a day.
func phaseName(v moon.View) string {
	const day = 13.0 // degrees of the phase angle, about
	name := "waning"
	if portable.Sin((v.SunLonDeg-v.SubLonDeg)*math.Pi/180) > 0 {
		name = "waxing"
	}
	quarter := map[string]string{"waxing": "first quarter", "waning": "last quarter"}[name]
	switch p := v.PhaseDeg; {
	case p < day:
		return "full Moon"
	case p > 180-day:
		return "new Moon"
	case math.Abs(p-90) < day/2:
		return quarter
	case p < 90:
		return name + " gibbous"
	}
	return name + " crescent"
}

// ageDays is the time since new Moon, taken for the instant at which least of the Moon was lit: within two hours of the conjunction in
// longitude.
func ageDays(unixNS int64) float64 {
	const day, step = 86400e9, 0.25
	phase := func(ago float64) float64 { return moon.Centre(moon.Unix(unixNS - int64(float64(ago*day)))).PhaseDeg }
	before, here := phase(-step), phase(0)
	for ago := 0.0; ago < 31; ago += step {
		after := phase(ago + step)
		if here >= before && here > after && here > 160 {
			// The parabola through three evenly spaced angles has its top there.
			return max(0, ago+float64(step*(before-after)/(2*(before-float64(2*here)+after))))
		}
		before, here = here, after
	}
	return 0
}
