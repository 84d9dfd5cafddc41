package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// plus is the instant some days later.
func (t Time) plus(days float64) Time { return Time{UT: t.UT + days, TT: t.TT + days} }

// UnixNS returns the count of nanoseconds of UTC since 1970, within 0.1 ms.
func (t Time) UnixNS() int64 {
	day := math.Floor(t.UT)
	return int64(day+10957)*dayNS + dayNS/2 + int64((t.UT-day)*dayNS)
}

// Event is when a body passes a height or the meridian.
type Event struct {
	At     Time
	Rising bool // upwards; the meridian is passed in the south, or in the north, above the pole
}

// eventStep is the step, in days, of looking for events: what comes and goes within ten minutes is not seen.
const eventStep = 10.0 / 1440

// Crossings returns when a smooth function passes zero between two instants, in their order, to 0.1 s.
func Crossings(f func(Time) float64, from, to Time) []Event {
	var out []Event
	n := int(math.Ceil((to.UT - from.UT) / eventStep))
	before, last := from, f(from)
	for i := 1; i <= n; i++ {
		at := from.plus(min(float64(float64(i)*eventStep), to.UT-from.UT))
		v := f(at)
		if (last < 0) != (v < 0) {
			out = append(out, Event{crossing(f, before, at), v >= 0})
		}
		before, last = at, v
	}
	return out
}

// crossing halves a stretch at whose ends f has different signs.
func crossing(f func(Time) float64, a, b Time) Time {
	low := f(a) < 0
	for range 50 {
		if mid := a.plus(float64((b.UT - a.UT) / 2)); (f(mid) < 0) == low {
			a = mid
		} else {
			b = mid
		}
	}
	return b
}

// horizonDeg is by how much the air lifts what is seen on the horizon: 34′, by convention.
const horizonDeg = 34.0 / 60

// MoonAboveRising returns by how many degrees the Moon is above where its upper limb rises and sets over a level horizon: what Crossings finds
// rise and set with.
func (s Site) MoonAboveRising(t Time) float64 {
	p := Moon(t).From(s, t)
	return s.Horizon(p, t).AltitudeDeg + horizonDeg + portable.Asin(RadiusKM/p.DistanceKM)/degree
}

// SunAboveRising is the same of the Sun.
func (s Site) SunAboveRising(t Time) float64 {
	return s.SunAltitude(t) + horizonDeg + 16.0/60
}

// SunAltitude returns how high the Sun's middle stands, in degrees, without refraction.
func (s Site) SunAltitude(t Time) float64 { return s.Horizon(Sun(t).From(s, t), t).AltitudeDeg }

// MoonPastMeridian returns the sine of the Moon's hour angle: it passes zero rising at the upper transit, falling at the lower.
func (s Site) MoonPastMeridian(t Time) float64 {
	return sinDeg(Sidereal(t) + s.LongitudeDeg - Moon(t).RightAscensionDeg)
}

// Apart returns the angle between two places, 0…180°.
func (p Place) Apart(q Place) float64 {
	a, b := p.vector(), q.vector()
	return portable.Atan2(a.cross(b).length(), a.dot(b)) / degree
}

// Age returns by how many degrees the Moon is ahead of the Sun along the ecliptic, 0…360: 0 new, 90 first quarter, 180 full.
func Age(t Time) float64 { return circle(moonEcliptic(t).lonDeg - sunEcliptic(t).lonDeg) }
