package moment

import (
	"strings"
	"testing"
)

// TestParse: RFC 3339 counts from 1970 as Unix does; 1583020800 is its 2020-03-01, as `date -u -d @1583020800` shows.
func TestParse(t *testing.T) {
	for text, want := range map[string]int64{
		"1970-01-01T00:00:01Z": 1e9, "2020-03-01T00:00:00Z": 1583020800e9, "2020-03-01T00:00:00.25Z": 1583020800250e6,
		"2199-12-31T23:59:59Z": 7258118399e9,
	} {
		if got, err := Parse(text); err != nil || got != want {
			t.Errorf("%s: %d, %v; want %d", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"yesterday":                 `"yesterday" is no moment`,
		"2024-03-19":                "is no moment",
		"2024-03-19T20:04:00":       "is no moment",
		"2024-03-19T22:04:00+02:00": "is not in UTC",
		"2024-03-19T20:04:00+00:00": "is not in UTC",
		"2024-03-19T20:04:00-00:00": "is not in UTC",
		"1960-03-19T20:04:00Z":      "1970 to 2199",
		"2200-01-01T00:00:00Z":      "1970 to 2199",
	} {
		if _, err := Parse(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %q", text, err, want)
		}
	}
}
