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
