package survey

import (
	"math"
	"time"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
)

// trackStep is the time between two instants at which the sky is looked at.
const trackStep = 5 * time.Minute

// Sky is what a site sees of one night.
type Sky struct {
	Track              []Sample   // from noon to noon, every five minutes
	Rise, Transit, Set *time.Time // of the Moon, those around the middle of the night; nil where it does not happen
	Sunset, Sunrise    *time.Time // nil where the Sun stays up or down
	Dusk, Dawn         *time.Time // when the Sun passes −6°
	site               moon.Site
	skyline            *pipeline.Skyline
}

// Sample is how the sky stands at one instant.
type Sample struct {
	At          time.Time
	View        moon.View
	AltitudeDeg float64 // of the Moon's middle, as it is seen: with refraction, which fades below −1°
	SkylineDeg  float64 // how high the skyline is there
	SunDeg      float64 // the Sun's altitude, without refraction
	SunApartDeg float64
	Shaded      bool // in the umbra of an eclipse
}

// Above tells whether the Moon is above the horizon and what stands on it.
func (s Sample) Above() bool { return s.AltitudeDeg > s.SkylineDeg }

// Light is how dark the sky is.
type Light string

// Night is with the Sun more than 6° below the horizon, Twilight until it is up.
const (
	Dark     Light = "night"
	Twilight Light = "twilight"
	Daylight Light = "day"
)

// duskDeg is the Sun's altitude, in degrees, at which civil twilight ends.
const duskDeg = -6

// Light tells how dark it is.
func (s Sample) Light() Light {
	switch {
	case s.SunDeg > -50.0/60:
		return Daylight
	case s.SunDeg > duskDeg:
		return Twilight
	}
	return Dark
}

// newSky looks at a site's sky from one noon to the next.
func newSky(n pipeline.Night, from, to time.Time, eclipse *moon.Eclipse) *Sky {
	site := moon.Site{LatitudeDeg: n.Site.LatitudeDeg, LongitudeDeg: n.Site.LongitudeDeg, ElevationM: n.Site.ElevationM}
	s := &Sky{site: site, skyline: n.Skyline}
	for t := from; !t.After(to); t = t.Add(trackStep) {
		x := s.at(t)
		x.Shaded = eclipse != nil && eclipse.Partial.Is() && !t.Before(clock(eclipse.Partial.From)) && !t.After(clock(eclipse.Partial.To))
		s.Track = append(s.Track, x)
	}
	s.passes(from, to)
	sun := moon.Crossings(site.SunAboveRising, at(from), at(to))
	s.Sunset, s.Sunrise = firstOf(sun, false), lastOf(sun, true)
	dim := moon.Crossings(func(t moon.Time) float64 { return site.SunAltitude(t) - duskDeg }, at(from), at(to))
	s.Dusk, s.Dawn = firstOf(dim, false), lastOf(dim, true)
	return s
}

// at looks at the sky at one instant.
func (s *Sky) at(t time.Time) Sample {
	now := at(t)
	v := s.site.View(now)
	sun := moon.Sun(now).From(s.site, now)
	out := Sample{At: t, View: v, AltitudeDeg: v.Horizon.AltitudeDeg, SunDeg: s.site.Horizon(sun, now).AltitudeDeg, SunApartDeg: v.Place.Apart(sun)}
	out.AltitudeDeg += lift(out.AltitudeDeg)
	out.SkylineDeg = skylineAt(s.skyline, v.Horizon.AzimuthDeg)
	return out
}

// lift is the refraction at a true altitude; below −1°, where nothing is seen, it fades so that curves do not break.
func lift(trueDeg float64) float64 {
	return float64(moon.Refraction(max(trueDeg, -1)) * min(max((trueDeg+5)/4, 0), 1))
}

// skylineAt is how high the skyline is at an azimuth of 0…360°: straight between its points, and around through north.
func skylineAt(s *pipeline.Skyline, azimuth float64) float64 {
	if s == nil || len(s.AzimuthDeg) == 0 {
		return 0
	}
	n := len(s.AzimuthDeg)
	i := 0
	for i < n && s.AzimuthDeg[i] <= azimuth {
		i++
	}
	before, after := (i+n-1)%n, i%n
	width := s.AzimuthDeg[after] - s.AzimuthDeg[before]
	if width <= 0 {
		width += 360
	}
	gone := azimuth - s.AzimuthDeg[before]
	if gone < 0 {
		gone += 360
	}
	return s.AltitudeDeg[before] + float64((s.AltitudeDeg[after]-s.AltitudeDeg[before])*gone/width)
}

// passes finds the Moon's transit nearest to the middle of the night, and the rise and set around it.
func (s *Sky) passes(from, to time.Time) {
	middle := at(from.Add(to.Sub(from) / 2))
	start, end := at(from.Add(-14*time.Hour)), at(to.Add(14*time.Hour))
	nearest := math.Inf(1)
	var transit moon.Time
	for _, e := range moon.Crossings(s.site.MoonPastMeridian, start, end) {
		if d := math.Abs(e.At.UT - middle.UT); e.Rising && d < nearest {
			nearest, transit = d, e.At
		}
	}
	if math.IsInf(nearest, 1) {
		return
	}
	t := clock(transit)
	s.Transit = &t
	for _, e := range moon.Crossings(s.site.MoonAboveRising, at(t.Add(-25*time.Hour)), at(t.Add(25*time.Hour))) {
		when := clock(e.At)
		if e.Rising && when.Before(t) {
			s.Rise, s.Set = &when, nil
		}
		if !e.Rising && when.After(t) && s.Set == nil {
			s.Set = &when
		}
	}
	// One that sets before the transit does not rise with it.
	if s.at(t).View.Horizon.AltitudeDeg < -1 {
		s.Rise, s.Set = nil, nil
	}
}

func firstOf(events []moon.Event, rising bool) *time.Time {
	for _, e := range events {
		if e.Rising == rising {
			t := clock(e.At)
			return &t
		}
	}
	return nil
}

func lastOf(events []moon.Event, rising bool) *time.Time {
	for i := len(events) - 1; i >= 0; i-- {
		if events[i].Rising == rising {
			t := clock(events[i].At)
			return &t
		}
	}
	return nil
}

// around brings an angle in degrees to −180…180.
func around(deg float64) float64 { return math.Remainder(deg, 360) }
