package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// tilt is how the Earth's axis stands: angles in degrees.
type tilt struct {
	mean, true float64 // obliquity of the ecliptic
	psi, eps   float64 // nutation in longitude and obliquity
}

// earthTilt follows the IAU 1980 nutation; the obliquity is that of Meeus, eq. 22.2 (Lieske 1977).
func earthTilt(t Time) tilt {
	c := t.TT / century
	l := poly(c, 134.96298139, 477198.8673980556, 0.0086972, 1.0/56250)
	lp := poly(c, 357.52772333, 35999.0503400, -0.0001603, -1.0/300000)
	f := poly(c, 93.27191028, 483202.0175380556, -0.0036825, 1.0/327270)
	d := poly(c, 297.85036306, 445267.1114800, -0.0019142, 1.0/189474)
	om := poly(c, 125.04452222, -1934.1362608333, 0.0020708, 1.0/450000)
	var psi, eps float64
	for _, n := range nutationTerms {
		a := float64(float64(n.l)*l) + float64(float64(n.lp)*lp) + float64(float64(n.f)*f) +
			float64(float64(n.d)*d) + float64(float64(n.om)*om)
		s, k := portable.Sincos(math.Mod(a, 360) * degree)
		psi += float64((n.psi + float64(n.psiT*c)) * s)
		eps += float64((n.eps + float64(n.epsT*c)) * k)
	}
	e := tilt{mean: poly(c, 84381.448, -46.8150, -0.00059, 0.001813) / 3600, psi: psi * 1e-4 / 3600, eps: eps * 1e-4 / 3600}
	e.true = e.mean + e.eps
	return e
}

// MeanSidereal returns Greenwich mean sidereal time in degrees, 0…360 (IAU 1982: Meeus, eq. 12.4).
func MeanSidereal(t Time) float64 {
	c := t.UT / century
	whole := math.Floor(t.UT)
	return circle(280.46061837 + float64(360*(t.UT-whole)) + float64(0.98564736629*t.UT) + float64(c*c*(0.000387933-c/38710000)))
}

// Sidereal returns Greenwich apparent sidereal time in degrees, 0…360: the mean one and the nutation along the equator.
func Sidereal(t Time) float64 {
	e := earthTilt(t)
	return circle(MeanSidereal(t) + float64(e.psi*cosDeg(e.true)))
}

// fromEcliptic turns the ecliptic of date into the true equator of date.
func (e tilt) fromEcliptic() matrix { return aboutX(-e.true * degree) }

// precession turns the mean equator of J2000 into that of date (IAU 2006: Capitaine, Wallace & Chapront 2003, A&A 412:567,
// eq. 40).
func precession(t Time) matrix {
	c := t.TT / century
	zeta := poly(c, 2.650545, 2306.083227, 0.2988499, 0.01801828)
	z := poly(c, -2.650545, 2306.077181, 1.0927348, 0.01826837)
	theta := poly(c, 0, 2004.191903, -0.4294934, -0.04182264)
	return aboutZ(-z * arcsec).after(aboutY(theta * arcsec)).after(aboutZ(-zeta * arcsec))
}

// toJ2000 turns the true equator of date into the mean equator of J2000, which lies within 0.03″ of the ICRF's axes.
func (e tilt) toJ2000(t Time) matrix {
	nutation := aboutX(-e.true * degree).after(aboutZ(-e.psi * degree)).after(aboutX(e.mean * degree))
	return nutation.after(precession(t)).back()
}

// Site is a place on the Earth: geodetic coordinates (WGS84), east and north positive, metres above the ellipsoid.
type Site struct{ LatitudeDeg, LongitudeDeg, ElevationM float64 }

// WGS84 (NIMA TR8350.2).
const (
	earthRadiusKM = 6378.137
	flattening    = 1 / 298.257223563
)

// offAxis returns the site's distances from the equator's plane and from the axis, in km (Meeus, ch. 11).
func (s Site) offAxis() (up, out float64) {
	sin, cos := portable.Sincos(s.LatitudeDeg * degree)
	const polar = 1 - flattening
	c := 1 / math.Sqrt(float64(cos*cos)+float64(polar*polar*float64(sin*sin)))
	h := s.ElevationM / 1000
	return float64((float64(earthRadiusKM*polar*polar*c) + h) * sin), float64((float64(earthRadiusKM*c) + h) * cos)
}

// place returns where the site is, in km from the Earth's middle, and its zenith, both in the true equator of date.
func (s Site) place(t Time) (at, zenith vector) {
	local := Sidereal(t) + s.LongitudeDeg
	up, out := s.offAxis()
	sin, cos := portable.Sincos(math.Mod(local, 360) * degree)
	return vector{out * cos, out * sin, up}, toward(math.Mod(local, 360), s.LatitudeDeg)
}
