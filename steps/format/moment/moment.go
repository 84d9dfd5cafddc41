// Package moment reads when something was taken, as people and files write it.
package moment

import (
	"fmt"
	"strings"
	"time"
)

// Believable tells a time of which a clip or a picture may be from one that a clock shows that was never set, or a field that was
// never filled in: from 1970 to 2199, which nanoseconds since 1970 of 63 bits hold.
func Believable(t time.Time) bool { return t.Year() >= 1970 && t.Year() < 2200 }

// Hint says to people what Parse wants.
const Hint = "write date and time of day in UTC, as \"2024-03-19T20:04:00Z\""

// Parse reads a time in UTC (RFC 3339, 5.6, with a Z), in nanoseconds since 1970. An offset is refused, were it 0: it would tell a
// time zone.
func Parse(text string) (unixNS int64, err error) {
	t, err := time.Parse(time.RFC3339, text)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is no moment", text)
	case !strings.HasSuffix(text, "Z"):
		return 0, fmt.Errorf("%q is not in UTC", text)
	case !Believable(t):
		return 0, fmt.Errorf("%q is out of range: its year may be 1970 to 2199", text)
	}
	return t.UnixNano(), nil
}
