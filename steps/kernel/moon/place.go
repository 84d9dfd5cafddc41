package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Place is where a body stands: true equator and equinox of date, right ascension 0…360°.
type Place struct{ RightAscensionDeg, DeclinationDeg, DistanceKM float64 }

func (v vector) place() Place {
	ra, dec := v.direction()
	return Place{circle(ra), dec, v.length()}
}

func (p Place) vector() vector {
	var zero vector
	return zero.plus(p.DistanceKM, toward(p.RightAscensionDeg, p.DeclinationDeg))
}

// ecliptic is a place in the ecliptic of date, mean equinox.
type ecliptic struct{ lonDeg, latDeg, km float64 }

// moonEcliptic is Meeus, Astronomical Algorithms, 2nd ed. (1998), ch. 47, after the ELP-2000/82 of Chapront-Touzé & Chapront; light time
// is in its mean longitude.
func moonEcliptic(t Time) ecliptic {
	c := t.TT / century
	lp := poly(c, 218.3164477, 481267.88123421, -0.0015786, 1.0/538841, -1.0/65194000)
	d := poly(c, 297.8501921, 445267.1114034, -0.0018819, 1.0/545868, -1.0/113065000)
	m := poly(c, 357.5291092, 35999.0502909, -0.0001536, 1.0/24490000)
	mp := poly(c, 134.9633964, 477198.8675055, 0.0087414, 1.0/69699, -1.0/14712000)
	f := poly(c, 93.2720950, 483202.0175233, -0.0036539, -1.0/3526000, 1.0/863310000)
	a1, a2, a3 := poly(c, 119.75, 131.849), poly(c, 53.09, 479264.290), poly(c, 313.45, 481266.484)
	// The Sun's mean anomaly counts with the eccentricity of the Earth's orbit.
	e := poly(c, 1, -0.002516, -0.0000074)
	fade := [3]float64{1, e, e * e}
	sum := func(terms []lunarTerm) (sin, cos float64) {
		for _, n := range terms {
			a := float64(float64(n.d)*d) + float64(float64(n.m)*m) + float64(float64(n.mp)*mp) + float64(float64(n.f)*f)
			s, k := portable.Sincos(math.Mod(a, 360) * degree)
			w := fade[max(n.m, -n.m)]
			sin += float64(float64(n.sin*w) * s)
			cos += float64(float64(n.cos*w) * k)
		}
		return sin, cos
	}
	lon, far := sum(longitudeTerms[:])
	lat, _ := sum(latitudeTerms[:])
	lon += float64(3958*sinDeg(a1)) + float64(1962*sinDeg(lp-f)) + float64(318*sinDeg(a2))
	lat += float64(-2235*sinDeg(lp)) + float64(382*sinDeg(a3)) + float64(175*sinDeg(a1-f)) + float64(175*sinDeg(a1+f)) +
		float64(127*sinDeg(lp-mp)) - float64(115*sinDeg(lp+mp))
	return ecliptic{circle(lp + float64(lon*1e-6)), lat * 1e-6, 385000.56 + far/1000}
}

// sunEcliptic is the apparent Sun of Meeus, ch. 25, "low accuracy": aberration is in, nutation is not. Good to 0.01°.
func sunEcliptic(t Time) ecliptic {
	c := t.TT / century
	m := poly(c, 357.52911, 35999.05029, -0.0001537)
	e := poly(c, 0.016708634, -0.000042037, -0.0000001267)
	equation := float64(poly(c, 1.914602, -0.004817, -0.000014)*sinDeg(m)) + float64(poly(c, 0.019993, -0.000101)*sinDeg(2*m)) +
		float64(0.000289*sinDeg(3*m))
	r := 1.000001018 * (1 - float64(e*e)) / (1 + float64(e*cosDeg(m+equation)))
	lon := poly(c, 280.46646, 36000.76983, 0.0003032) + equation
	return ecliptic{circle(lon - 20.4898/3600/r), 0, r * AUKM}
}

func (p ecliptic) equatorial(e tilt) vector {
	var zero vector
	return e.fromEcliptic().of(zero.plus(p.km, toward(p.lonDeg+e.psi, p.latDeg)))
}

// Moon returns the Moon's apparent place from the Earth's middle.
func Moon(t Time) Place { return moonEcliptic(t).equatorial(earthTilt(t)).place() }

// Sun returns the Sun's apparent place from the Earth's middle, good to 0.01°.
func Sun(t Time) Place { return sunEcliptic(t).equatorial(earthTilt(t)).place() }

// From returns a body's place as a site sees it, without refraction.
func (p Place) From(s Site, t Time) Place {
	at, _ := s.place(t)
	return p.vector().plus(-1, at).place()
}

// Horizon is where a direction stands for a site: no refraction; azimuth from north through east, 0…360°. ParallacticDeg is the
// position angle of the zenith, from north through east, −180…180°.
type Horizon struct{ AltitudeDeg, AzimuthDeg, ParallacticDeg float64 }

// Horizon returns where a place, as the site sees it, stands in its sky (Meeus, ch. 13 and 14).
func (s Site) Horizon(p Place, t Time) Horizon {
	hour := Sidereal(t) + s.LongitudeDeg - p.RightAscensionDeg
	sh, ch := portable.Sincos(math.Mod(hour, 360) * degree)
	sf, cf := portable.Sincos(s.LatitudeDeg * degree)
	sd, cd := portable.Sincos(p.DeclinationDeg * degree)
	north := float64(cf*sd) - float64(float64(sf*cd)*ch)
	east := float64(-cd * sh)
	up := float64(sf*sd) + float64(float64(cf*cd)*ch)
	az, alt := vector{north, east, up}.direction()
	q := portable.Atan2(float64(cf*sh), float64(sf*cd)-float64(float64(cf*sd)*ch)) / degree
	return Horizon{AltitudeDeg: alt, AzimuthDeg: circle(az), ParallacticDeg: q}
}
