package survey

import (
	"math"
	"strings"
	"testing"
	"time"

	"plenilune/pipeline"
)

func nearTime(t *testing.T, what string, got *time.Time, want string, tol time.Duration) {
	t.Helper()
	at, err := time.Parse(time.RFC3339, want)
	if err != nil {
		t.Fatal(err)
	}
	if got == nil {
		t.Errorf("%s does not happen", what)
	} else if d := got.Sub(at); d > tol || d < -tol {
		t.Errorf("%s at %v, want %s", what, got.UTC(), want)
	}
}

// Greenwich on 2025 March 6 and 2021 March 21: rise, transit and set by pyephem 4.1.4, the Moon's place by ERFA's moon98 with the IAU's rotation.
func TestNightAgainstOthers(t *testing.T) {
	n := pipeline.Night{TimeZone: "Europe/London", Site: &pipeline.Site{LatitudeDeg: 51.4778}}
	r := plan(t, n, "2025-03-06")
	nearTime(t, "moonrise", r.Sky.Rise, "2025-03-06T09:01:30Z", time.Minute)
	nearTime(t, "transit", r.Sky.Transit, "2025-03-06T18:03:22Z", time.Minute)
	nearTime(t, "moonset", r.Sky.Set, "2025-03-07T03:16:07Z", time.Minute)
	nearTime(t, "sunset", r.Sky.Sunset, "2025-03-06T17:49:25Z", time.Minute)

	s := plan(t, n, "2021-03-21").Sky.at(time.Date(2021, 3, 21, 20, 0, 0, 0, time.UTC))
	near(t, "altitude, with refraction", s.AltitudeDeg, 56.8896+0.6476/60, 0.003) // Saemundsson's 1.02/tan(h + 10.3/(h + 5.11)) arcmin
	near(t, "azimuth", s.View.Horizon.AzimuthDeg, 225.7557, 0.003)
	near(t, "parallactic angle", s.View.Horizon.ParallacticDeg, 29.414, 0.006)
	near(t, "libration in longitude", s.View.SubLonDeg, -6.195, 0.003)
	near(t, "libration in latitude", s.View.SubLatDeg, -1.807, 0.003)
	near(t, "axis", s.View.AxisDeg, 3.080, 0.003)
	near(t, "distance", s.View.DistanceKM, 392223.3, 12)
	near(t, "semidiameter", s.View.SemidiameterArcsec, 913.68, 0.1)
}

// The eclipse of 2019 January 21, from the NASA catalogue as remembered: the evening of the 20th in New York.
func TestEclipseIsTold(t *testing.T) {
	n := pipeline.Night{TimeZone: "America/New_York", Site: &pipeline.Site{LatitudeDeg: 40.7, LongitudeDeg: -74}}
	r := plan(t, n, "2019-01-20")
	if r.Eclipse == nil || r.Eclipse.Magnitude < 1.18 || r.Eclipse.Magnitude > 1.21 {
		t.Fatalf("eclipse %+v", r.Eclipse)
	}
	if text := noteOf(r, "eclipse"); !strings.Contains(text, "total") || !strings.Contains(text, "00:12 (05:12 UTC)") {
		t.Errorf("it is told as %q", text)
	}
	// Panels are shot outside the umbra.
	if w := r.Window; w == nil || w.To.After(clock(r.Eclipse.Partial.From)) && w.From.Before(clock(r.Eclipse.Partial.To)) {
		t.Errorf("the window is %+v", w)
	}
	if r := plan(t, n, "2019-01-18"); r.Eclipse != nil || noteOf(r, "eclipse") != "" {
		t.Error("an eclipse two days before")
	}
}

func noteOf(r *Report, code string) string {
	for _, n := range r.Notes {
		if n.Code == code {
			return n.Text
		}
	}
	return ""
}

func TestSkyline(t *testing.T) {
	s := &pipeline.Skyline{AzimuthDeg: []float64{10, 100, 190}, AltitudeDeg: []float64{0, 30, 10}}
	for _, c := range [][2]float64{{10, 0}, {55, 15}, {100, 30}, {145, 20}, {190, 10}, {280, 5}, {0, 10.0 / 18}, {359.9, 10.1 / 18}} {
		near(t, "skyline", skylineAt(s, c[0]), c[1], 1e-9)
	}
	near(t, "one point all around", skylineAt(&pipeline.Skyline{AzimuthDeg: []float64{77}, AltitudeDeg: []float64{12}}, 200), 12, 0)
	near(t, "none", skylineAt(nil, 200), 0, 0)
}

// The window must be where the Moon is highest, in the dark, above the skyline, and as long as the session.
func TestWindow(t *testing.T) {
	n := bench(1936, 1096)
	r := plan(t, n, "2027-03-19")
	w := r.Window
	if w == nil || w.Light != Dark || w.Short || w.Low {
		t.Fatalf("window %+v", w)
	}
	if middle := w.From.Add(w.To.Sub(w.From) / 2); middle.Sub(*r.Sky.Transit).Abs() > 10*time.Minute {
		t.Errorf("its middle is %v, the transit %v", middle, *r.Sky.Transit)
	}
	if l := w.To.Sub(w.From); l < r.Grid.Length || l > r.Grid.Length+2*trackStep {
		t.Errorf("it lasts %v, the session %v", l, r.Grid.Length)
	}
	// A house in the south: the Moon is shot beside it.
	n.Skyline = &pipeline.Skyline{AzimuthDeg: []float64{0, 130, 131, 240, 241}, AltitudeDeg: []float64{0, 0, 70, 70, 0}}
	blocked := plan(t, n, "2027-03-19")
	if w = blocked.Window; w == nil {
		t.Fatal("no window beside the house")
	}
	for _, at := range []time.Time{w.From, w.To} {
		if a := blocked.Sky.at(at).View.Horizon.AzimuthDeg; a > 131 && a < 240 {
			t.Errorf("the Moon is at %v° then, behind the house", a)
		}
	}
	// All around: nothing.
	n.Skyline = &pipeline.Skyline{AzimuthDeg: []float64{0}, AltitudeDeg: []float64{80}}
	if shut := plan(t, n, "2027-03-19"); shut.Window != nil || shut.Grid != nil || noteOf(shut, "no-window") == "" {
		t.Error("a window through a wall")
	}
	// Higher than the Moon gets: lower, and that is said.
	n.Skyline, n.Survey.LeastAltitudeDeg = nil, 70
	if low := plan(t, n, "2027-03-19"); low.Window == nil || !low.Window.Low || noteOf(low, "low-moon") == "" {
		t.Error("a Moon below the altitude asked for is not told")
	}
}

// Near the Sun there is a caution and no place to aim at, in text, chart or objects; by day and near the new Moon there is a caution.
func TestSunCautions(t *testing.T) {
	n := bench(1936, 1096)
	for _, c := range []struct {
		day, code string
		grid      bool
	}{{"2027-04-06", "near-sun", false}, {"2027-03-11", "sun-near", true}, {"2027-03-19", "", true}} {
		r := plan(t, n, c.day)
		if (r.Grid != nil) != c.grid {
			t.Errorf("%s: grid %v", c.day, r.Grid)
		}
		cautions := ""
		for _, x := range r.Notes {
			if x.Caution {
				cautions += x.Code
				if !strings.Contains(x.Text, "certified full-aperture filters") || !strings.Contains(x.Text, "local rules") {
					t.Errorf("%s: it defers to nobody: %s", c.day, x.Text)
				}
			}
		}
		if cautions != c.code {
			t.Errorf("%s: cautions %q, want %q", c.day, cautions, c.code)
		}
		text, chart := told(t, r)
		if c.code == "near-sun" && (strings.Contains(text, "east ′") || strings.Contains(chart, `class="panel"`) || strings.Contains(chart, "best window")) {
			t.Errorf("%s: it tells where to aim, %.1f° from the Sun", c.day, r.SunApartDeg)
		}
		if c.code != "" && !strings.Contains(text, "CAUTION") {
			t.Errorf("%s: the text has no caution", c.day)
		}
	}
	// Without a site the hour is not known, and the day before is no better.
	n.Site = nil
	for _, day := range []string{"2027-04-06", "2027-04-05"} {
		if r := plan(t, n, day); r.Grid != nil || noteOf(r, "near-sun") == "" {
			t.Errorf("%s, without a site: %.1f° from the Sun", day, r.SunApartDeg)
		}
	}
	n = bench(1936, 1096)
	// A crescent that sets soon after the Sun, where only day is left above the skyline.
	n.Skyline = &pipeline.Skyline{AzimuthDeg: []float64{0, 240, 241}, AltitudeDeg: []float64{0, 0, 60}}
	if r := plan(t, n, "2027-03-11"); noteOf(r, "sun-up") == "" || r.Window == nil || r.Window.Light != Daylight {
		t.Errorf("by day: %+v %v", r.Window, r.Notes)
	}
}

// Without a site the panels are still laid, for the Moon as from the Earth's middle.
func TestWithoutSite(t *testing.T) {
	n := bench(1936, 1096)
	n.Site = nil
	r := plan(t, n, "2027-03-19")
	if r.Grid == nil || r.Window != nil || r.Sky != nil {
		t.Fatalf("grid %v, window %v", r.Grid, r.Window)
	}
	if r.Grid.GroundKnown {
		t.Error("it knows how the Moon turns under nobody")
	}
}

// A clip that is too long for an untracked Moon: none, and the length that would do does.
func TestDrift(t *testing.T) {
	n := bench(1936, 1096)
	n.Tracking = "none"
	r := plan(t, n, "2027-03-19")
	if r.Grid != nil || !strings.Contains(r.NoGrid, "clips of at most 6.") {
		t.Fatalf("grid %v: %s", r.Grid, r.NoGrid)
	}
	n.Survey.ClipS = 6
	r = plan(t, n, "2027-03-19")
	if r.Grid == nil {
		t.Fatal(r.NoGrid)
	}
	// The sky turns by 15.04″ cos δ a second, and the Moon falls behind it by some 0.5″; δ is 12°.
	near(t, "drift a clip″", r.Grid.DriftArcsec, 6*(15.04*math.Cos(12*math.Pi/180)-0.5), 2)
	n.Tracking = "sidereal"
	// 13.18° a day is 0.55″ a second; near perigee it is more, and the observer's own motion takes some off.
	near(t, "drift a second″, guided after the stars", plan(t, n, "2027-03-19").Grid.DriftArcsec/6, 0.55, 0.2)
}

// The next suitable night after a new Moon is some days later; of a site the Moon does not rise at for days it is not now.
func TestNext(t *testing.T) {
	n := bench(1936, 1096)
	from, err := ParseDay("2027-03-07")
	if err != nil {
		t.Fatal(err)
	}
	r, ok, err := Next(n, from)
	if err != nil || !ok || r.Day.Day < 9 || r.Day.Day > 13 || r.Window.Light == Daylight {
		t.Errorf("after the new Moon: %v %v %v", r.Day, ok, err)
	}
	if r, ok, err = Next(n, r.Day); err != nil || !ok || r.Day.After(0) != r.Day {
		t.Errorf("from a suitable night: %v", r.Day)
	}
	n.Skyline = &pipeline.Skyline{AzimuthDeg: []float64{0}, AltitudeDeg: []float64{89}}
	if r, ok, err = Next(n, from); err != nil || ok || r.Day != from {
		t.Errorf("behind a wall: %v %v %v", r.Day, ok, err)
	}
}

// Fried's formula at D/r0 = 5, 6 and 7: 0.114, 0.0206 and 0.00272. With 15.24 cm, 550 nm and the zenith, r0 is 0.9759 · 500 nm/seeing · 1.1^1.2.
func TestOdds(t *testing.T) {
	r0 := func(seeing float64) float64 {
		return 0.9759 * 500e-7 / seeing * 206264.806 * math.Pow(1.1, 1.2)
	}
	n := bench(1936, 1096)
	how := *n.Survey
	how.WavelengthNM, how.SeeingArcsec = 550, []float64{2}
	for _, c := range [][2]float64{{5, 0.114}, {6, 0.0206}, {7, 0.00272}} {
		n.Telescope.ApertureMM = 10 * c[0] * r0(2)
		o := odds(n, how, 1)[0]
		near(t, "D/r0", o.Ratio, c[0], 1e-9)
		near(t, "good share", o.Good, c[1], c[1]*0.005)
	}
	n.Telescope.ApertureMM = 10 * 3.4 * r0(2)
	if o := odds(n, how, 1)[0]; o.Good != 0 {
		t.Errorf("below 3.5 the formula does not hold, but %v is told", o.Good)
	}
	// At 45° r0 is 0.8123 times that at the zenith (cos^(3/5)).
	near(t, "r0 at air mass √2", odds(n, how, math.Sqrt2)[0].R0CM/r0(2), 0.8123, 1e-4)
}

func TestDays(t *testing.T) {
	for _, s := range []string{"2027-3-19", "tomorrow", "2027-02-30", "1900-01-01", "2200-01-01"} {
		if d, err := ParseDay(s); err == nil {
			t.Errorf("%s is taken for %v", s, d)
		}
	}
	d, err := ParseDay("2028-02-28")
	if err != nil || d.After(2) != (Day{2028, time.March, 1}) {
		t.Errorf("two days after %v: %v, %v", d, d.After(2), err)
	}
}

// A mount that changes sides is told when, and in which panel.
func TestMeridian(t *testing.T) {
	r := plan(t, bench(1936, 1096), "2027-03-19")
	if text := noteOf(r, "meridian"); !strings.Contains(text, "during panel") {
		t.Errorf("it is told as %q", text)
	}
	n := bench(1936, 1096)
	n.Mount = "altaz"
	r = plan(t, n, "2027-03-19")
	if noteOf(r, "meridian") != "" || noteOf(r, "turn-of-the-field") == "" {
		t.Error("an altazimuth mount changes sides, or its field does not turn")
	}
	// The turn of the field in the middle, against its closed form: −15.041″/s · cos φ · cos A/cos h.
	h := r.Sky.at(r.Grid.Panels[0].At.Add(r.Grid.Length / 2)).View.Horizon
	want := -15.041 * math.Cos(47.4*degree) * math.Cos(h.AzimuthDeg*degree) / math.Cos(h.AltitudeDeg*degree)
	near(t, "field's turn, ° an hour", r.Grid.FieldRate, want, 0.05*math.Abs(want)) // the Moon moves by a thirtieth of the sky's turn
}

// Where the Moon passes near the zenith, an altazimuth mount's field turns too fast there: it is shot before or after.
func TestZenith(t *testing.T) {
	n := bench(1280, 960)
	n.Mount, n.TimeZone = "altaz", ""
	n.Site = &pipeline.Site{LatitudeDeg: 12, LongitudeDeg: 8.5}
	r := plan(t, n, "2027-03-19")
	if high := r.Sky.at(*r.Sky.Transit).AltitudeDeg; high < 85 {
		t.Fatalf("the Moon culminates at %.1f°, not near the zenith", high)
	}
	if r.Grid == nil || r.Window.MostDeg > 75 || noteOf(r, "zenith") == "" {
		t.Errorf("window %+v, %s", r.Window, r.NoGrid)
	}
	n.Mount = "equatorial"
	if r = plan(t, n, "2027-03-19"); r.Window.MostDeg < 85 {
		t.Errorf("an equatorial mount keeps away from the zenith: %+v", r.Window)
	}
}
