package moon

import (
	"math"
	"testing"
	"time"
)

func utc(t *testing.T, s string) Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return Unix(at.UnixNano())
}

// nearTime compares instants in seconds.
func nearTime(t *testing.T, what string, got Time, want string, seconds float64) {
	t.Helper()
	at := utc(t, want)
	if d := (got.UT - at.UT) * 86400; !(math.Abs(d) <= seconds) {
		t.Errorf("%s at %s, want %s: %.0f s off", what, time.Unix(0, got.UnixNS()).UTC().Format(time.RFC3339), want, d)
	}
}

func TestUnixNSUndoesUnix(t *testing.T) {
	for _, ns := range []int64{0, 1, -5e17, 1735689600e9, 1741284123456789000} {
		if d := Unix(ns).UnixNS() - ns; d > 100e3 || d < -100e3 {
			t.Errorf("%d comes back %d ns off", ns, d)
		}
	}
}

func TestCrossingsOfASine(t *testing.T) {
	from := Universal(2460000.5)
	f := func(t Time) float64 { return math.Sin(2 * math.Pi * (t.UT - from.UT - 0.1) / 0.5) }
	got := Crossings(f, from, from.plus(1))
	want := []float64{0.1, 0.35, 0.6, 0.85}
	if len(got) != len(want) {
		t.Fatalf("%d crossings, want %d", len(got), len(want))
	}
	for i, e := range got {
		near(t, "crossing", e.At.UT-from.UT, want[i], 1e-6)
		if e.Rising != (i%2 == 0) {
			t.Errorf("crossing %d rises: %v", i, e.Rising)
		}
	}
}

// Greenwich, 2025 March 6, by pyephem 4.1.4 with the horizon at −34′.
func TestRiseTransitSet(t *testing.T) {
	s := Site{LatitudeDeg: 51.4778}
	from := utc(t, "2025-03-06T00:00:00Z")
	up := Crossings(s.MoonAboveRising, utc(t, "2025-03-06T06:00:00Z"), utc(t, "2025-03-07T06:00:00Z"))
	if len(up) != 2 || !up[0].Rising || up[1].Rising {
		t.Fatalf("rise and set: %+v", up)
	}
	nearTime(t, "moonrise", up[0].At, "2025-03-06T09:01:30Z", 60)
	nearTime(t, "moonset", up[1].At, "2025-03-07T03:16:07Z", 60)
	for _, e := range Crossings(s.MoonPastMeridian, from, from.plus(1)) {
		if e.Rising {
			nearTime(t, "transit", e.At, "2025-03-06T18:03:22Z", 60)
		}
	}
	for _, e := range Crossings(s.SunAboveRising, from, from.plus(1)) {
		if !e.Rising {
			nearTime(t, "sunset", e.At, "2025-03-06T17:49:25Z", 60)
		}
	}
}

// New and full Moon and quarters of January 2025, by pyephem 4.1.4: where the ecliptic longitudes differ by multiples of 90°.
func TestPhasesOfAMonth(t *testing.T) {
	for angle, want := range map[float64]string{90: "2025-01-06T23:56:15Z", 180: "2025-01-13T22:26:51Z", 270: "2025-01-21T20:30:45Z", 360: "2025-01-29T12:35:55Z"} {
		at := utc(t, want)
		apart := func(x Time) float64 { return sinDeg(Age(x) - angle) }
		got := Crossings(apart, at.plus(-1), at.plus(1))
		if len(got) != 1 {
			t.Fatalf("%s: %d times", want, len(got))
		}
		nearTime(t, "phase", got[0].At, want, 90)
	}
}

// Eclipses of the NASA catalogue (Espenak & Meeus 2009, shadow after Danjon), as remembered, not read again: their times are of UT.
func TestEclipses(t *testing.T) {
	for _, c := range []struct {
		greatest             string
		umbral, penumbral    float64
		penumbra             [2]string
		partial, totalPhases [2]string
	}{
		{"2019-01-21T05:12:16Z", 1.1953, 2.1684, [2]string{"2019-01-21T02:36:30Z", "2019-01-21T07:48:00Z"},
			[2]string{"2019-01-21T03:33:54Z", "2019-01-21T06:50:39Z"}, [2]string{"2019-01-21T04:41:17Z", "2019-01-21T05:43:16Z"}},
		{"2022-05-16T04:11:29Z", 1.4137, 2.3726, [2]string{"2022-05-16T01:32:07Z", "2022-05-16T06:50:49Z"},
			[2]string{"2022-05-16T02:27:53Z", "2022-05-16T05:55:07Z"}, [2]string{"2022-05-16T03:29:03Z", "2022-05-16T04:53:56Z"}},
		{"2025-03-14T06:58:44Z", 1.1784, 2.2595, [2]string{"2025-03-14T03:57:28Z", "2025-03-14T10:00:09Z"},
			[2]string{"2025-03-14T05:09:40Z", "2025-03-14T08:47:52Z"}, [2]string{"2025-03-14T06:26:06Z", "2025-03-14T07:31:26Z"}},
		{"2023-10-28T20:14:05Z", 0.1220, 1.1181, [2]string{}, [2]string{"2023-10-28T19:35:25Z", "2023-10-28T20:52:40Z"}, [2]string{}},
		{"2024-03-25T07:12:51Z", -0.1304, 0.9577, [2]string{}, [2]string{}, [2]string{}},
	} {
		at := utc(t, c.greatest)
		e, ok := FindEclipse(at.plus(-0.6), at.plus(0.7))
		if !ok {
			t.Fatalf("%s: no eclipse", c.greatest)
		}
		nearTime(t, "greatest", e.Greatest, c.greatest, 120)
		near(t, c.greatest+" umbral", e.Magnitude, c.umbral, 0.01)
		near(t, c.greatest+" penumbral", e.PenumbralMagnitude, c.penumbral, 0.01)
		if (e.Magnitude > 0) != e.Partial.Is() || (e.Magnitude > 1) != e.Total.Is() {
			t.Errorf("%s: spans %+v", c.greatest, e)
		}
		for _, x := range []struct {
			got  Span
			want [2]string
		}{{e.Penumbral, c.penumbra}, {e.Partial, c.partial}, {e.Total, c.totalPhases}} {
			if x.want[0] != "" {
				nearTime(t, "begins", x.got.From, x.want[0], 120)
				nearTime(t, "ends", x.got.To, x.want[1], 120)
			}
		}
	}
	full := utc(t, "2025-01-13T22:26:51Z") // a full Moon without one
	if e, ok := FindEclipse(full.plus(-1), full.plus(1)); ok {
		t.Errorf("an eclipse on 2025-01-13: %+v", e)
	}
}

// Filippenko (1982), table I: differential refraction against 500 nm at 600 mmHg, 7 °C and 8 mmHg of vapour.
func TestDispersion(t *testing.T) {
	a := Air{PressureHPA: 600 * mmHg, TemperatureC: 7, VapourHPA: 8 * mmHg}
	nm := []float64{350, 400, 450, 550, 600, 650, 700, 800, 1000}
	for airmass, row := range map[float64][]float64{
		1.10: {.55, .29, .12, -.09, -.15, -.20, -.24, -.30, -.37},
		1.50: {1.34, .71, .29, -.21, -.37, -.50, -.60, -.74, -.91},
		2.00: {2.08, 1.10, .45, -.33, -.58, -.77, -.92, -1.15, -1.40},
		2.50: {2.75, 1.46, .60, -.44, -.77, -1.02, -1.22, -1.52, -1.86},
	} {
		for i, want := range row {
			near(t, "dispersion″", a.Dispersion(nm[i], 500, 90-math.Acos(1/airmass)/degree), want, 0.01)
		}
	}
	// Edlén's dry air at 760 mmHg and 15 °C.
	near(t, "refractivity", Air{PressureHPA: 760 * mmHg, TemperatureC: 15}.Refractivity(500), 278.96, 0.02)
	near(t, "pressure at sea level", StandardAir(0).PressureHPA, 1013.25, 1e-9)
	near(t, "pressure at 1500 m, ISO 2533", StandardAir(1500).PressureHPA, 845.56, 0.1)
}
