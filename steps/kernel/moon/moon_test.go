package moon

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.8g, want %.8g ± %.2g", what, got, want, tol)
	}
}

// nearAngle compares angles in degrees.
func nearAngle(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(math.Remainder(got-want, 360)) <= tol) {
		t.Errorf("%s = %.8g°, want %.8g ± %.2g°", what, got, want, tol)
	}
}

func hms(h, m, s float64) float64 { return 15 * (h + m/60 + s/3600) }
func dms(d, m, s float64) float64 { return math.Copysign(math.Abs(d)+m/60+s/3600, d) }

// at1992 is the instant of Meeus's examples of the Moon: 1992-04-12 0h TD.
var at1992 = Terrestrial(2448724.5)

func TestTime(t *testing.T) {
	// Meeus, Astronomical Algorithms, 2nd ed., example 7.a and the table of ch. 7.
	near(t, "7.a", Calendar(1957, 10, 4.81), 2436116.31, 1e-6)
	near(t, "J2000", Calendar(2000, 1, 1.5), 2451545, 0)
	near(t, "1600-12-31", Calendar(1600, 12, 31), 2305812.5, 0)
	for _, d := range []time.Time{time.Date(1999, 12, 31, 23, 0, 0, 0, time.UTC), time.Date(1958, 3, 1, 1, 0, 0, 500, time.UTC), time.Date(2031, 7, 9, 12, 0, 0, 0, time.UTC)} {
		day := float64(d.Day()) + float64(d.Hour())/24
		near(t, d.String(), Unix(d.UnixNano()).Julian(), Calendar(d.Year(), int(d.Month()), day), 1e-9)
	}
	for _, c := range []struct {
		year, month int
		seconds     float64
		tol         float64
	}{
		// Espenak & Meeus (2006), table of observed values.
		{1950, 1, 29.07, 0.1}, {1960, 1, 33.15, 0.1}, {1970, 1, 40.18, 0.1},
		// 32.184 s and IERS Bulletin C.
		{1972, 2, 42.184, 1e-9}, {1999, 1, 64.184, 1e-9}, {2017, 1, 69.184, 1e-9}, {2016, 12, 68.184, 1e-9},
	} {
		at := Universal(Calendar(c.year, c.month, 1))
		near(t, "ΔT", (at.TT-at.UT)*86400, c.seconds, max(c.tol, 1e-6))
	}
}

func TestSidereal(t *testing.T) {
	// Meeus, examples 12.a and 12.b.
	a, b := Universal(2446895.5), Universal(2446896.30625)
	nearAngle(t, "12.a mean", MeanSidereal(a), hms(13, 10, 46.3668), 15e-4/3600)
	nearAngle(t, "12.a apparent", Sidereal(a), hms(13, 10, 46.1351), 15e-4/3600)
	nearAngle(t, "12.b", MeanSidereal(b), hms(8, 34, 57.0896), 15e-4/3600)
}

func TestHorizon(t *testing.T) {
	// Meeus, example 13.b; his azimuth counts from the south.
	site := Site{LatitudeDeg: dms(38, 55, 17), LongitudeDeg: -dms(77, 3, 56)}
	h := site.Horizon(Place{hms(23, 9, 16.641), dms(-6, 43, 11.61), 1e9}, Universal(2446896.30625))
	nearAngle(t, "13.b azimuth", h.AzimuthDeg, 68.0337+180, 1e-3)
	near(t, "13.b altitude", h.AltitudeDeg, 15.1249, 1e-3)
}

func TestParallacticAngle(t *testing.T) {
	// In the meridian the zenith is straight north or south; elsewhere the zenith, projected, must lie that way.
	site := Site{LatitudeDeg: 50, LongitudeDeg: 0}
	at := Universal(2460000.25)
	south := site.Horizon(Place{Sidereal(at), 10, 1e9}, at)
	near(t, "south of the zenith", south.ParallacticDeg, 0, 1e-9)
	north := site.Horizon(Place{Sidereal(at), 60, 1e9}, at)
	nearAngle(t, "north of the zenith", north.ParallacticDeg, 180, 1e-9)
	for _, hour := range []float64{-80, -20, 35, 100} {
		p := Place{Sidereal(at) - hour, 20, 1e9}
		_, zenith := site.place(at)
		nearAngle(t, "parallactic angle", site.Horizon(p, at).ParallacticDeg, p.vector().positionAngle(zenith), 1e-9)
	}
}

// TestFieldRotation holds the parallactic angle's change to its closed form: dq/dt = −ω·cos φ·cos A/cos h.
func TestFieldRotation(t *testing.T) {
	site := Site{LatitudeDeg: 50, LongitudeDeg: 0}
	at := Universal(2460000.25)
	p := Place{Sidereal(at) + 15, 20, 1e9}
	h := site.Horizon(p, at)
	nearAngle(t, "azimuth", h.AzimuthDeg, 152.9096, 1e-4) // by hand
	near(t, "altitude", h.AltitudeDeg, 57.7195, 1e-4)
	const step = 1.0 / 8640
	before, after := site.Horizon(p, Time{at.UT - step, at.TT - step}), site.Horizon(p, Time{at.UT + step, at.TT + step})
	want := -360.98564736629 * cosDeg(50) * cosDeg(h.AzimuthDeg) / cosDeg(h.AltitudeDeg)
	near(t, "field rotation a day", (after.ParallacticDeg-before.ParallacticDeg)/(2*step), want, 1e-3)
}

func TestNutation(t *testing.T) {
	// Meeus, example 22.a.
	e := earthTilt(Terrestrial(2446895.5))
	near(t, "Δψ″", e.psi*3600, -3.788, 1e-3)
	near(t, "Δε″", e.eps*3600, 9.443, 1e-3)
	near(t, "ε0", e.mean, dms(23, 26, 27.407), 1e-3/3600)
	near(t, "ε", e.true, dms(23, 26, 36.850), 1e-3/3600)
}

func TestPrecession(t *testing.T) {
	// Meeus, example 21.b: θ Persei at J2000, its own motion taken in, seen from the equator of 2028 November 13.19.
	at := Terrestrial(2462088.69)
	ra, dec := precession(at).of(toward(41.054063, 49.227750)).direction()
	nearAngle(t, "α", ra, 41.547214, 1e-4)
	near(t, "δ", dec, 49.348483, 1e-4)
	// And back, with nutation, of which the lengths and right angles must survive.
	m := earthTilt(at).toJ2000(at)
	for i := range 3 {
		near(t, "length of a row", m[i].length(), 1, 1e-14)
		near(t, "rows at right angles", m[i].dot(m[(i+1)%3]), 0, 1e-14)
	}
}

func TestSite(t *testing.T) {
	// Meeus, example 11.a; in units of his Earth's radius, 6378.14 km.
	up, out := Site{LatitudeDeg: dms(33, 21, 22), ElevationM: 1706}.offAxis()
	near(t, "ρ sin φ′", up/6378.14, 0.546861, 1e-6)
	near(t, "ρ cos φ′", out/6378.14, 0.836339, 1e-6)
}

func TestParallax(t *testing.T) {
	// Meeus, example 40.a: Mars from Palomar, 0.37276 au away.
	site := Site{LatitudeDeg: dms(33, 21, 22), LongitudeDeg: -hms(7, 47, 27), ElevationM: 1706}
	at := Universal(Calendar(2003, 8, 28+(3+17.0/60)/24))
	p := Place{hms(22, 38, 7.25), dms(-15, 46, 15.9), 0.37276 * AUKM}.From(site, at)
	nearAngle(t, "40.a right ascension", p.RightAscensionDeg, hms(22, 38, 8.54), 15*0.01/3600)
	near(t, "40.a declination", p.DeclinationDeg, dms(-15, 46, 30.0), 0.1/3600)
}

func TestSun(t *testing.T) {
	// Meeus, examples 25.a and, by the full theory, 25.b.
	at := Terrestrial(2448908.5)
	p := Sun(at)
	near(t, "25.a distance au", p.DistanceKM/AUKM, 0.99766, 1e-5)
	nearAngle(t, "25.a right ascension", p.RightAscensionDeg, hms(13, 13, 31.4), 0.1*15/3600)
	near(t, "25.a declination", p.DeclinationDeg, dms(-7, 47, 6), 1.0/3600)
	nearAngle(t, "25.b right ascension", p.RightAscensionDeg, hms(13, 13, 30.749), 0.01)
	near(t, "25.b declination", p.DeclinationDeg, dms(-7, 47, 1.74), 0.01)
}

func TestMoonPlace(t *testing.T) {
	// Meeus, example 47.a; the last three by the full theory, as he quotes them.
	e := moonEcliptic(at1992)
	near(t, "λ", e.lonDeg, 133.162655, 1e-6)
	near(t, "β", e.latDeg, -3.229126, 1e-6)
	near(t, "Δ km", e.km, 368409.7, 0.1)
	p := Moon(at1992)
	near(t, "apparent λ", e.lonDeg+earthTilt(at1992).psi, 133.167264, 2e-6)
	near(t, "α", p.RightAscensionDeg, 134.688470, 2e-6)
	near(t, "δ", p.DeclinationDeg, 13.768368, 2e-6)
	near(t, "Δ km, full", p.DistanceKM, 368405.0, 12)
	nearAngle(t, "α, full", p.RightAscensionDeg, hms(8, 58, 45.1), 8.0/3600)
	near(t, "δ, full", p.DeclinationDeg, dms(13, 46, 6), 8.0/3600)
}

func TestPhase(t *testing.T) {
	// Meeus, example 48.a: his i is found with the Sun's distance, k and χ from it.
	v := Centre(at1992)
	near(t, "i", v.PhaseDeg, 69.0756, 0.01)
	near(t, "k", v.Lit, 0.6786, 1e-4)
	near(t, "χ", v.BrightLimbDeg, 285.0, 0.05)
}

func TestLibration(t *testing.T) {
	// Meeus, example 53.a, whose frame differs by up to 0.03° from the rotation model's; then the same by the model itself, in numpy.
	v := Centre(at1992)
	near(t, "l", v.SubLonDeg, -1.23, 0.03)
	near(t, "b", v.SubLatDeg, 4.20, 0.03)
	near(t, "P", v.AxisDeg, 15.08, 0.03)
	near(t, "l0", v.SunLonDeg, 67.89, 0.03)
	near(t, "b0", v.SunLatDeg, 1.46, 0.03)
	near(t, "colongitude", v.ColongitudeDeg(), 22.11, 0.03)
	near(t, "l by the model", v.SubLonDeg, -1.229, 2e-3)
	near(t, "b by the model", v.SubLatDeg, 4.173, 2e-3)
	near(t, "P by the model", v.AxisDeg, 15.086, 2e-3)
	near(t, "l0 by the model", v.SunLonDeg, 67.901, 0.01)
	near(t, "b0 by the model", v.SunLatDeg, 1.450, 0.01)
	// Ch. 53: the Sun's altitude at Copernicus, taken at 20° W 9.7° N, and when it rose there.
	copernicus := At(-20, 9.7)
	height := func(v View) float64 { return math.Asin(v.Incidence(copernicus)) / degree }
	near(t, "Sun at Copernicus", height(v), 2.318, 0.03)
	near(t, "sunrise at Copernicus", height(Centre(Terrestrial(2448724.3069))), 0, 0.03)
}

// table reads a file of numbers with tabs between them; the first column stays text.
func table(t *testing.T, name string) (first []string, rest [][]float64) {
	t.Helper()
	f, err := os.Open("../../../testdata/vectors/moon/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if strings.HasPrefix(s.Text(), "#") {
			continue
		}
		c := strings.Split(s.Text(), "\t")
		var row []float64
		for _, x := range c[1:] {
			v, err := strconv.ParseFloat(x, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		first, rest = append(first, c[0]), append(rest, row)
	}
	if len(first) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return first, rest
}

func TestRotation(t *testing.T) {
	days, rows := table(t, "rotation.tsv")
	for i, r := range rows {
		d, err := strconv.ParseFloat(days[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		ra, dec, w := spin(d)
		nearAngle(t, "pole's right ascension", ra, r[0], 1e-5)
		near(t, "pole's declination", dec, r[1], 1e-5)
		nearAngle(t, "prime meridian", w, r[2], 1e-5)
	}
}

func TestViews(t *testing.T) {
	utc, rows := table(t, "views.tsv")
	const second = 10.0 / 3600 // ten arcseconds
	for i, r := range rows {
		at, err := time.Parse(time.RFC3339, utc[i])
		if err != nil {
			t.Fatal(err)
		}
		now := Unix(at.UnixNano())
		geo, v := Moon(now), Site{LatitudeDeg: r[0], LongitudeDeg: r[1]}.View(now)
		nearAngle(t, "geocentric α", geo.RightAscensionDeg, r[2], second)
		near(t, "geocentric δ", geo.DeclinationDeg, r[3], second)
		near(t, "geocentric km", geo.DistanceKM, r[4], 12)
		nearAngle(t, "α", v.Place.RightAscensionDeg, r[5], second)
		near(t, "δ", v.Place.DeclinationDeg, r[6], second)
		near(t, "km", v.DistanceKM, r[7], 12)
		near(t, "altitude", v.Horizon.AltitudeDeg, r[8], second)
		nearAngle(t, "azimuth", v.Horizon.AzimuthDeg, r[9], second)
		nearAngle(t, "parallactic angle", v.Horizon.ParallacticDeg, r[10], 2*second)
		near(t, "sub-observer longitude", v.SubLonDeg, r[11], 0.003)
		near(t, "sub-observer latitude", v.SubLatDeg, r[12], 0.003)
		near(t, "subsolar longitude", v.SunLonDeg, r[13], 0.02)
		near(t, "subsolar latitude", v.SunLatDeg, r[14], 0.02)
		nearAngle(t, "axis", v.AxisDeg, r[15], 0.003)
		near(t, "lit, from the Earth's middle", Centre(now).Lit, r[16], 3e-4)
		near(t, "semidiameter", v.SemidiameterArcsec, r[17], 0.1)
	}
}

func TestRefraction(t *testing.T) {
	// Meeus, example 16.a: the Sun's lower limb seen at 0.5°, and the upper one truly at 33.246′.
	near(t, "16.a apparent", Unrefraction(0.5)*60, 28.754, 1e-3)
	near(t, "16.a true", Refraction(33.246/60)*60, 24.618, 1e-3)
	for _, c := range [][3]float64{{45, 0.9948, 1.0127}, {30, 1.7173, 1.7460}, {20, 2.7034, 2.7412}, {10, 5.3915, 5.4077}, {5, 9.883, 9.674}, {1, 24.33, 21.74}, {0, 34.48, 28.98}} {
		near(t, "Bennett", Unrefraction(c[0])*60, c[1], 0.005)
		near(t, "Saemundsson", Refraction(c[0])*60, c[2], 0.005)
	}
	for _, h := range []float64{-0.5, 0, 2, 10, 45, 80} {
		slope := (Refraction(h+1e-4) - Refraction(h-1e-4)) / 2e-4
		near(t, "flattening", Flattening(h), -slope, 1e-7)
	}
	near(t, "flattening at the zenith", Flattening(90), 1.02/60*degree, 1e-6)
	// Kasten & Young (1989).
	for _, c := range [][2]float64{{60, 1.1540}, {30, 1.9943}, {10, 5.5860}, {1, 26.311}, {0, 37.920}} {
		near(t, "air mass", AirMass(c[0]), c[1], 1e-3)
	}
}

func BenchmarkView(b *testing.B) {
	s := Site{LatitudeDeg: 47, LongitudeDeg: 8, ElevationM: 400}
	for i := range b.N {
		s.View(Unix(int64(i) * 1e9))
	}
}
