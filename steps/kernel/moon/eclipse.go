package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Shadow is how the Moon stands against the Earth's shadow, as from the Earth's middle; angles in degrees.
type Shadow struct {
	ApartDeg    float64 // from the shadow's axis to the Moon's middle
	UmbraDeg    float64 // radius of the shadow's core at the Moon
	PenumbraDeg float64 // radius of the half-shadow
	MoonDeg     float64 // semidiameter
}

// ShadowAt returns how the Moon stands in the Earth's shadow. The shadow is enlarged for the air as Danjon did (1951, L'Astronomie 65:51): the
// Moon's parallax by a hundredth, over an Earth as wide as at 45° of latitude; so Espenak & Meeus (2009), Five Millennium Canon
// of Lunar Eclipses.
func ShadowAt(t Time) Shadow {
	e := earthTilt(t)
	m, s := moonEcliptic(t).equatorial(e), sunEcliptic(t).equatorial(e)
	var zero vector
	axis := zero.plus(-1, s)
	parallax := float64(1.01 * 0.998340 * portable.Asin(earthRadiusKM/m.length()))
	sun, sunParallax := portable.Asin(sunRadiusKM/s.length()), portable.Asin(earthRadiusKM/s.length())
	return Shadow{
		ApartDeg:    portable.Atan2(m.cross(axis).length(), m.dot(axis)) / degree,
		UmbraDeg:    (parallax + sunParallax - sun) / degree,
		PenumbraDeg: (parallax + sunParallax + sun) / degree,
		MoonDeg:     portable.Asin(float64(moonShare*earthRadiusKM)/m.length()) / degree,
	}
}

// The Sun's radius (IAU 2015, resolution B3), and the Moon's in equatorial radii of the Earth (IAU 1982), as eclipses use them.
const (
	sunRadiusKM = 695700.0
	moonShare   = 0.2725076
)

// Magnitude is the share of the Moon's diameter that is in the core of the shadow; negative is outside.
func (s Shadow) Magnitude() float64 {
	return (s.UmbraDeg + s.MoonDeg - s.ApartDeg) / float64(2*s.MoonDeg)
}

// PenumbralMagnitude is the share of the Moon's diameter that is in the half-shadow.
func (s Shadow) PenumbralMagnitude() float64 {
	return (s.PenumbraDeg + s.MoonDeg - s.ApartDeg) / float64(2*s.MoonDeg)
}

// Eclipse is one eclipse of the Moon. Spans that do not occur are zero.
type Eclipse struct {
	Greatest                      Time
	Magnitude, PenumbralMagnitude float64
	Penumbral, Partial, Total     Span
}

// Span is a stretch of time.
type Span struct{ From, To Time }

// Is tells whether the span occurs.
func (s Span) Is() bool { return s.From != s.To }

// FindEclipse returns the eclipse of the Moon whose greatest moment lies between two instants less than 20 days apart, if there is one.
// Times are good to 2 minutes, as far as the Sun's place is to 0.01°.
func FindEclipse(from, to Time) (Eclipse, bool) {
	apart := func(t Time) float64 { return ShadowAt(t).ApartDeg }
	at, ok := lowest(apart, from, to)
	if !ok {
		return Eclipse{}, false
	}
	s := ShadowAt(at)
	e := Eclipse{Greatest: at, Magnitude: s.Magnitude(), PenumbralMagnitude: s.PenumbralMagnitude()}
	if e.PenumbralMagnitude <= 0 {
		return Eclipse{}, false
	}
	spans := []struct {
		span   *Span
		beyond func(Shadow) float64
	}{
		{&e.Penumbral, func(s Shadow) float64 { return s.PenumbraDeg + s.MoonDeg - s.ApartDeg }},
		{&e.Partial, func(s Shadow) float64 { return s.UmbraDeg + s.MoonDeg - s.ApartDeg }},
		{&e.Total, func(s Shadow) float64 { return s.UmbraDeg - s.MoonDeg - s.ApartDeg }},
	}
	for _, c := range spans {
		f := func(t Time) float64 { return c.beyond(ShadowAt(t)) }
		if f(at) > 0 {
			c.span.From = crossing(f, at.plus(-0.25), at)
			c.span.To = crossing(f, at, at.plus(0.25))
		}
	}
	return e, true
}

// lowest returns where a function has its lowest value inside a stretch of time; false if that is at its ends.
func lowest(f func(Time) float64, from, to Time) (Time, bool) {
	const step = 1.0 / 24
	n := int(math.Ceil((to.UT - from.UT) / step))
	best, least := 0, math.Inf(1)
	for i := range n + 1 {
		if v := f(from.plus(float64(float64(i) * step))); v < least {
			best, least = i, v
		}
	}
	if best == 0 || best == n {
		return from, false
	}
	a, b := from.plus(float64(float64(best-1)*step)), from.plus(float64(float64(best+1)*step))
	for range 60 {
		third := float64((b.UT - a.UT) / 3)
		if c, d := a.plus(third), b.plus(-third); f(c) < f(d) {
			b = d
		} else {
			a = c
		}
	}
	return a.plus(float64((b.UT - a.UT) / 2)), true
}
