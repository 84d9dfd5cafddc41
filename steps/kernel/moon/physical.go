package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// spinTerm is one angle of the rotation model, rate a day, with what it adds to the pole (sine to the right ascension, cosine to the
// declination) and to the prime meridian (sine). Degrees.
type spinTerm struct{ at, rate, ra, dec, w float64 }

// spinTerms are E1…E13 of the IAU's rotation model: Archinal et al. (2018), Celestial Mechanics and Dynamical Astronomy
// 130:22, table 2. It is that of the mean-Earth frame, within some 0.005° of the lunar ephemerides.
var spinTerms = [...]spinTerm{
	{125.045, -0.0529921, -3.8787, 1.5419, 3.5610},
	{250.089, -0.1059842, -0.1204, 0.0239, 0.1208},
	{260.008, 13.0120009, 0.0700, -0.0278, -0.0642},
	{176.625, 13.3407154, -0.0172, 0.0068, 0.0158},
	{357.529, 0.9856003, 0, 0, 0.0252},
	{311.589, 26.4057084, 0.0072, -0.0029, -0.0066},
	{134.963, 13.0649930, 0, 0.0009, -0.0047},
	{276.617, 0.3287146, 0, 0, -0.0046},
	{34.226, 1.7484877, 0, 0, 0.0028},
	{15.134, -0.1589763, -0.0052, 0.0008, 0.0052},
	{119.743, 0.0036096, 0, 0, 0.0040},
	{239.961, 0.1643573, 0, 0, 0.0019},
	{25.053, 12.9590088, 0.0043, -0.0009, -0.0044},
}

// spin returns the Moon's pole (right ascension and declination in the ICRF) and the angle of its prime meridian, degrees; d
// is days of TDB, which TT follows within 2 ms, since J2000.
func spin(d float64) (ra, dec, w float64) {
	c := d / century
	ra, dec = poly(c, 269.9949, 0.0031), poly(c, 66.5392, 0.0130)
	w = poly(d, 38.3213, 13.17635815, -1.4e-12)
	for _, n := range spinTerms {
		s, k := portable.Sincos(math.Mod(poly(d, n.at, n.rate), 360) * degree)
		ra += float64(n.ra * s)
		dec += float64(n.dec * k)
		w += float64(n.w * s)
	}
	return ra, dec, w
}

// body turns J2000 axes into the Moon's own: x to the middle of the near side, z to its north pole.
func body(d float64) matrix {
	ra, dec, w := spin(d)
	return aboutZ(math.Mod(w, 360) * degree).after(aboutX((90 - dec) * degree)).after(aboutZ((ra + 90) * degree))
}

// View is how the Moon looks from where one stands. Sub-points are selenographic, mean-Earth axes, east (Mare Crisium) positive,
// longitudes −180…180°. Position angles count from celestial north through east, 0…360°.
type View struct {
	SubLonDeg, SubLatDeg float64 // where the observer is overhead
	SunLonDeg, SunLatDeg float64 // where the Sun is
	AxisDeg              float64 // position angle of the Moon's north pole
	DistanceKM           float64
	SemidiameterArcsec   float64
	PhaseDeg             float64 // angle Sun–Moon–observer
	Lit                  float64 // lit share of the disk, 0…1
	BrightLimbDeg        float64 // position angle of the bright limb's middle
	Place                Place   // as seen from there
	Horizon              Horizon // of a site's sky; zero for the Earth's middle
}

// ColongitudeDeg is the selenographic colongitude of the Sun, 0…360°: the west longitude of the morning terminator.
func (v View) ColongitudeDeg() float64 { return circle(90 - v.SunLonDeg) }

// Centre returns how the Moon looks from the Earth's middle.
func Centre(t Time) View { return look(vector{}, t) }

// View returns how the Moon looks from a site.
func (s Site) View(t Time) View {
	at, _ := s.place(t)
	v := look(at, t)
	v.Horizon = s.Horizon(v.Place, t)
	return v
}

func look(from vector, t Time) View {
	e := earthTilt(t)
	centre, sun := moonEcliptic(t).equatorial(e), sunEcliptic(t).equatorial(e)
	sight := centre.plus(-1, from) // from the observer to the Moon
	light := sun.plus(-1, centre)  // from the Moon to the Sun
	v := View{Place: sight.place(), DistanceKM: sight.length()}
	inertial := e.toJ2000(t)
	turn := body(t.TT - v.DistanceKM/lightDay)
	own := turn.after(inertial)
	v.SubLonDeg, v.SubLatDeg = own.of(vector{}.plus(-1, sight)).direction()
	v.SunLonDeg, v.SunLatDeg = own.of(light).direction()
	v.AxisDeg = sight.positionAngle(own[2])
	v.SemidiameterArcsec = portable.Asin(RadiusKM/v.DistanceKM) / arcsec
	cos := -sight.dot(light) / v.DistanceKM / light.length()
	v.Lit = (1 + cos) / 2
	v.PhaseDeg = portable.Atan2(sight.cross(light).length(), -sight.dot(light)) / degree
	v.BrightLimbDeg = sight.positionAngle(light)
	return v
}

// positionAngle returns in which direction an arrow at the end of the line of sight points, as it is seen: degrees from north through
// east, 0…360, in axes whose third points north.
func (v vector) positionAngle(arrow vector) float64 {
	east := vector{-v[1], v[0], 0}.unit()
	north := v.unit().cross(east)
	return circle(portable.Atan2(arrow.dot(east), arrow.dot(north)) / degree)
}
