package survey

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"plenilune/steps/kernel/moon"
)

// signed writes a number with its sign, and a minus as wide as a plus.
func signed(v float64, digits int) string {
	s := fmt.Sprintf("%+.*f", digits, v)
	if strings.Trim(s, "+-0.") == "" {
		s = "+" + s[1:]
	}
	return strings.Replace(s, "-", "−", 1)
}

// plain is signed without a plus.
func plain(v float64, digits int) string { return strings.TrimPrefix(signed(v, digits), "+") }

// number writes a number as it was given.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// minutes writes a time for people.
func minutes(d time.Duration) string {
	m := int(math.Round(d.Minutes()))
	switch {
	case d < 100*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case m < 120:
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

// bytesText writes bytes for people, in powers of ten.
func bytesText(n int64) string {
	v := float64(n)
	for _, u := range []string{"B", "kB", "MB", "GB"} {
		if v < 1000 {
			return fmt.Sprintf("%.3g %s", v, u)
		}
		v /= 1000
	}
	return fmt.Sprintf("%.3g TB", v)
}

// hm writes a time of day in the night's zone, with UTC beside it where that is another.
func (r *Report) hm(t time.Time) string {
	t = t.Round(time.Minute)
	local := t.In(r.Zone).Format("15:04")
	if u := t.UTC().Format("15:04"); r.Night.TimeZone != "" {
		return local + " (" + u + " UTC)"
	}
	return local + " UTC"
}

// Waxing tells whether the Moon grows.
func (r *Report) Waxing() bool { return moon.Age(at(r.Ref)) < 180 }

// Phase names the Moon's phase.
func (r *Report) Phase() string {
	lit := r.View.Lit
	switch {
	case lit < 0.005:
		return "new"
	case lit > 0.995:
		return "full"
	}
	word := "waning"
	if r.Waxing() {
		word = "waxing"
	}
	switch {
	case lit < 0.48:
		return word + " crescent"
	case lit > 0.52:
		return word + " gibbous"
	case r.Waxing():
		return "first quarter"
	}
	return "last quarter"
}

// TerminatorDeg is the selenographic longitude of the terminator that is seen, east positive: the morning's while the Moon grows, else the
// evening's.
func (r *Report) TerminatorDeg() float64 {
	morning := -r.View.ColongitudeDeg()
	if r.Waxing() {
		return around(morning)
	}
	return around(morning + 180)
}

// eastWest writes a longitude on the Moon.
func eastWest(deg float64) string {
	if deg < 0 {
		return fmt.Sprintf("%.1f° W", -deg)
	}
	return fmt.Sprintf("%.1f° E", deg)
}

// airText writes the air mass at an altitude as it is seen.
func airText(apparentDeg float64) string {
	x := moon.AirMass(max(apparentDeg, 0))
	if x < 10 {
		return fmt.Sprintf("%.2f", x)
	}
	return fmt.Sprintf("%.1f", x)
}
