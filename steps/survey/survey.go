// Package survey looks ahead at a night: when the Moon stands well, how it looks then, and with which panels its disk is closed.
//
// Angles in names that end in Deg are degrees, on the sky from north through east. Nothing here reads a clock: equal manifests and dates give
// equal surveys.
package survey

import (
	"fmt"
	"time"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
)

// Day is the date of an evening.
type Day struct {
	Year  int
	Month time.Month
	Day   int
}

// After returns the day some days later.
func (d Day) After(days int) Day {
	y, m, day := time.Date(d.Year, d.Month, d.Day+days, 12, 0, 0, 0, time.UTC).Date()
	return Day{y, m, day}
}

// String is the date as in 2027-03-19.
func (d Day) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }

// ParseDay reads a date such as 2027-03-19, of the years for which the ephemeris is good.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Day{}, fmt.Errorf("%q is no date such as 2027-03-19", s)
	}
	y, m, d := t.Date()
	if y < 1950 || y > 2100 {
		return Day{}, fmt.Errorf("%d: the Moon's place is known here for the years 1950 to 2100", y)
	}
	return Day{y, m, d}, nil
}

// Report is all that is told of a night. What the manifest lacks is nil, and named in Missing.
type Report struct {
	Night    pipeline.Night
	How      pipeline.Survey
	Day      Day
	Zone     *time.Location // UTC where none is stated
	From, To time.Time      // from noon to noon

	Sky         *Sky    // with a site
	Window      *Window // when to shoot, if there is a time
	Ref         time.Time
	View        moon.View // at Ref: the middle of the window, or of the night
	SunApartDeg float64   // at Ref; without a site, the least of the night
	Eclipse     *moon.Eclipse

	Optics *Optics
	Grid   *Grid
	NoGrid string // why there is none
	Odds   []Odds

	Missing []Missing
	Notes   []Note
}

// Missing is a setting of the manifest that is not there, and what cannot be told without it.
type Missing struct{ Setting, Costs string }

// Note is something to know or to do; a caution is about safety.
type Note struct {
	Code    string
	Text    string
	Caution bool
}

// greenNM is the light that limits are told for where no other is stated.
const greenNM = 550

// leastSunDeg is how near to the Sun, in degrees, no place to aim at is told.
const leastSunDeg = 10

// Plan surveys one night.
func Plan(n pipeline.Night, day Day) (*Report, error) {
	r, err := begin(n, day)
	if err != nil {
		return nil, err
	}
	if e, ok := moon.FindEclipse(at(r.From), at(r.To)); ok {
		r.Eclipse = &e
	}
	if n.Site != nil {
		r.Sky = newSky(n, r.From, r.To, r.Eclipse)
	}
	r.Optics = newOptics(n, r.How.WavelengthNM)
	r.settle()
	if r.Optics != nil {
		r.Optics.onMoon(r.View.DistanceKM)
		r.Odds = odds(n, r.How, r.airMass())
	}
	r.missing()
	r.advise()
	return r, nil
}

// begin makes the empty report of a night: the evening of the day and the morning after.
func begin(n pipeline.Night, day Day) (*Report, error) {
	r := &Report{Night: n, Day: day, Zone: time.UTC}
	if n.Survey != nil {
		r.How = *n.Survey
	} else {
		r.How.SetDefaults()
	}
	if r.How.WavelengthNM == 0 {
		r.How.WavelengthNM = greenNM
	}
	zone, err := n.Zone()
	if err != nil {
		return nil, fmt.Errorf("find the time zone: %w", err)
	}
	if zone != nil {
		r.Zone = zone
	}
	r.From = time.Date(day.Year, day.Month, day.Day, 12, 0, 0, 0, r.Zone)
	if zone == nil && n.Site != nil {
		// The mean Sun's noon: what one there calls that day's, on a round time, so that full and half hours are among those looked at.
		r.From = r.From.Add(-time.Duration(around(n.Site.LongitudeDeg) / 15 * float64(time.Hour))).Truncate(trackStep)
	}
	r.To = r.From.Add(24 * time.Hour)
	r.Ref = r.From.Add(12 * time.Hour)
	return r, nil
}

// settle finds the window and the grid, each of which rests on the other: more panels take longer, and later the Moon is another.
// Where the field of an altazimuth mount would turn too fast near the zenith, it is tried farther from there.
func (r *Report) settle() {
	for _, highest := range []float64{90, 75, 60, 45, 90} {
		r.settleBelow(highest)
		if r.Grid != nil || !r.turns() {
			return
		}
	}
}

func (r *Report) settleBelow(highest float64) {
	length := time.Duration(30) * time.Minute
	for range 8 {
		r.pick(length, highest)
		r.lay()
		if r.Grid == nil {
			return
		}
		l := r.Grid.Length
		if l == length {
			return
		}
		length = l
	}
}

// pick takes the best window of a length with the Moon below an altitude, and looks at the Moon in its middle.
func (r *Report) pick(length time.Duration, highest float64) {
	if r.Sky == nil {
		// At which hour nobody knows: the Sun counts as near as it comes.
		r.View, r.SunApartDeg = moon.Centre(at(r.Ref)), 180
		for _, t := range []time.Time{r.From, r.Ref, r.To} {
			r.SunApartDeg = min(r.SunApartDeg, moon.Moon(at(t)).Apart(moon.Sun(at(t))))
		}
		return
	}
	r.Window = r.Sky.window(length, r.How.LeastAltitudeDeg, highest)
	switch {
	case r.Window != nil:
		if highest < 90 {
			r.Window.Capped = highest
		}
		r.Ref = r.Window.From.Add(min(length, r.Window.To.Sub(r.Window.From)) / 2)
	case r.Sky.Transit != nil:
		r.Ref = *r.Sky.Transit
	}
	s := r.Sky.at(r.Ref)
	r.View, r.SunApartDeg = s.View, s.SunApartDeg
}

// airMass is that in the window, or 1 if no site says how high the Moon stands.
func (r *Report) airMass() float64 {
	if r.Sky == nil || r.Window == nil {
		return 1
	}
	return moon.AirMass(max(r.Sky.at(r.Ref).AltitudeDeg, 0))
}

// at is an instant as the ephemeris takes it.
func at(t time.Time) moon.Time { return moon.Unix(t.UnixNano()) }

// clock is the inverse, to a tenth of a second.
func clock(t moon.Time) time.Time {
	return time.Unix(0, t.UnixNS()).UTC().Round(100 * time.Millisecond)
}

// Next surveys the first night from a day on that is suitable: the Moon is up in the dark long and high enough for all panels, and shows more
// than a hairline. If there is none within 60, it surveys the first and says so.
func Next(n pipeline.Night, from Day) (r *Report, suitable bool, err error) {
	for i := range 60 {
		if r, err = begin(n, from.After(i)); err != nil {
			return nil, false, err
		}
		if !r.promising() {
			continue
		}
		if r, err = Plan(n, r.Day); err != nil || r.suitable() {
			return r, err == nil, err
		}
	}
	r, err = Plan(n, from)
	return r, false, err
}

// leastLit is the lit share of a Moon that is worth a night.
const leastLit = 0.05

// promising tells, cheaply, whether a night can be suitable: the Moon is high enough in the dark at some quarter of an hour.
func (r *Report) promising() bool {
	if r.Night.Site == nil {
		return true
	}
	s := r.Night.Site
	sky := &Sky{site: moon.Site{LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, ElevationM: s.ElevationM}, skyline: r.Night.Skyline}
	w := wish{r.How.LeastAltitudeDeg, 90, Twilight, true}
	for t := r.From; !t.After(r.To); t = t.Add(tableStep / 2) {
		if w.met(sky.at(t)) {
			return true
		}
	}
	return false
}

func (r *Report) suitable() bool {
	if r.Sky == nil {
		return true // nothing is known against it
	}
	w := r.Window
	return w != nil && !w.Short && !w.Low && w.Light != Daylight && r.View.Lit >= leastLit
}
