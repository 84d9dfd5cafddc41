package survey

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"plenilune/pipeline"
)

func told(t *testing.T, r *Report) (text, chart string) {
	t.Helper()
	var a, b bytes.Buffer
	if err := errors.Join(r.WriteText(&a), r.WriteChart(&b)); err != nil {
		t.Fatal(err)
	}
	return a.String(), b.String()
}

// Every night of a lunation, on several benches, is told within 80 columns, drawn as whole XML, and made of finite numbers; twice the
// same.
func TestEveryNightIsTold(t *testing.T) {
	full := bench(1936, 1096)
	altaz := bench(1280, 960)
	altaz.Mount, altaz.Tracking, altaz.TimeZone = "altaz", "sidereal", ""
	north := pipeline.Night{Site: &pipeline.Site{LatitudeDeg: 78.2, LongitudeDeg: 15.6}, Mount: "equatorial",
		Telescope: full.Telescope, Camera: full.Camera}
	south := bench(640, 480)
	south.Site, south.TimeZone = &pipeline.Site{LatitudeDeg: -33.9, LongitudeDeg: 151.2}, "Australia/Sydney"
	nowhere := pipeline.Night{Telescope: full.Telescope, Camera: full.Camera, Tracking: "none"}
	for name, n := range map[string]pipeline.Night{"full": full, "altaz": altaz, "north": north, "south": south, "nowhere": nowhere, "nothing": {}} {
		for day := range 30 {
			if day%6 != 0 && (name != "full" || day%2 != 0) {
				continue
			}
			r, err := Plan(n, Day{2027, time.June, 1}.After(day))
			if err != nil {
				t.Fatal(err)
			}
			text, chart := told(t, r)
			for _, line := range strings.Split(text, "\n") {
				if k := utf8.RuneCountInString(line); k > columns {
					t.Errorf("%s, %s: %d columns: %s", name, r.Day, k, line)
				}
			}
			for _, s := range []string{text, chart} {
				for _, bad := range []string{"NaN", "Inf", "%!"} {
					if strings.Contains(s, bad) {
						t.Errorf("%s, %s: it holds %s", name, r.Day, bad)
					}
				}
			}
			wellFormed(t, chart)
			for _, e := range r.Events() {
				if _, err := json.Marshal(e); err != nil {
					t.Errorf("%s, %s: %v: %v", name, r.Day, err, e)
				}
			}
		}
	}
	a, b := told(t, plan(t, full, "2027-06-18"))
	c, d := told(t, plan(t, full, "2027-06-18"))
	if a != c || b != d {
		t.Error("twice the same night is told differently")
	}
}

func wellFormed(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("the chart is no XML: %v", err)
		}
	}
}

// What is missing is named, and no more.
func TestMissing(t *testing.T) {
	names := func(n pipeline.Night) (out []string) {
		for _, m := range plan(t, n, "2027-03-19").Missing {
			out = append(out, m.Setting)
		}
		return out
	}
	n := bench(1936, 1096)
	n.Survey.PointingErrorArcmin = noErrors()
	if got := names(n); got != nil {
		t.Errorf("of a full manifest: %v", got)
	}
	if got := names(pipeline.Night{}); len(got) != 11 || got[0] != "site" {
		t.Errorf("of an empty one: %v", got)
	}
}

// Near the poles the Sun stays up, or down, for days; at 69.65° north, about the winter solstice, it stays down but comes within 6° of the horizon
// every noon: 90° − 69.65° − 23.44° = −3.1°.
func TestSunThatStays(t *testing.T) {
	night := func(latitude float64, day string) string {
		text, _ := told(t, plan(t, pipeline.Night{Site: &pipeline.Site{LatitudeDeg: latitude, LongitudeDeg: 15.6}}, day))
		return text
	}
	for _, c := range []struct {
		latitude float64
		day      string
		want     []string
	}{
		{78.2, "2027-06-18", []string{"Sun           stays up\n", "Sun below −6° at no time\n"}},
		{78.2, "2027-12-18", []string{"Sun           stays down\n", "Sun below −6° all the time\n"}},
		{69.65, "2027-12-18", []string{"Sun           stays down\n", "Sun below −6° from "}},
		{47, "2027-06-18", []string{"Sun           sets ", ", rises "}},
	} {
		text := night(c.latitude, c.day)
		for _, want := range append(c.want, "transit") {
			if !strings.Contains(text, want) {
				t.Errorf("at %g° on %s: no %q in\n%s", c.latitude, c.day, want, text)
			}
		}
		if strings.Contains(text, "does not happen to") || strings.Contains(text, "sets does not") {
			t.Errorf("at %g° on %s:\n%s", c.latitude, c.day, text)
		}
	}
}

// A Moon that stays below the horizon culminates below it: that altitude has the minus that every other number has.
func TestMinusOfATransit(t *testing.T) {
	seen := false
	for day := range 28 {
		r, err := Plan(pipeline.Night{Site: &pipeline.Site{LatitudeDeg: 78.2, LongitudeDeg: 15.6}}, Day{2027, time.June, 1}.After(day))
		if err != nil {
			t.Fatal(err)
		}
		text, _ := told(t, r)
		for _, line := range strings.Split(text, "\n") {
			if strings.HasPrefix(line, "  transit") {
				seen = seen || strings.Contains(line, "−")
				if strings.Contains(line, "-") {
					t.Errorf("%s: %s", r.Day, line)
				}
			}
		}
	}
	if !seen {
		t.Error("the Moon stays down on no day of a month at 78° north")
	}
}

// Whatever the longitude, a Moon that rises has rows in the table, also where the manifest states no time zone.
func TestEveryLongitudeHasATable(t *testing.T) {
	for _, lon := range []float64{0, 15.6, -71.37, 101.11} {
		r := plan(t, pipeline.Night{Site: &pipeline.Site{LatitudeDeg: 20, LongitudeDeg: lon}}, "2027-06-18")
		if text, _ := told(t, r); len(r.Sky.Rows()) < 15 || strings.Contains(text, "does not rise in these") {
			t.Errorf("at %g° east: %d rows in\n%s", lon, len(r.Sky.Rows()), text)
		}
	}
}
