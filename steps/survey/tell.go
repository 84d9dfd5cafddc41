package survey

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"plenilune/pipeline"
)

// columns is how wide a line may be.
const columns = 80

// teller writes lines.
type teller struct{ b strings.Builder }

func (t *teller) line(format string, args ...any) {
	t.b.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " "))
	t.b.WriteByte('\n')
}

func (t *teller) head(s string) { t.line("\n%s", s) }

// fact writes a name and what it is.
func (t *teller) fact(name, format string, args ...any) {
	t.wrap(fmt.Sprintf("  %-14s", name), fmt.Sprintf(format, args...))
}

// wrap writes a text in lines, those after the first indented as the first begins.
func (t *teller) wrap(first, text string) {
	indent := utf8.RuneCountInString(first)
	line, at := first, indent
	for _, w := range words(text) {
		n := utf8.RuneCountInString(w)
		if at > indent && at+1+n > columns {
			t.line("%s", line)
			line, at = strings.Repeat(" ", indent), indent
		}
		if at > indent {
			line, at = line+" ", at+1
		}
		line, at = line+w, at+n
	}
	t.line("%s", line)
}

// words are those of a text, a number and its unit being one.
func words(text string) (out []string) {
	for _, w := range strings.Fields(text) {
		switch strings.TrimRight(w, ".,;:)") {
		case "%", "km", "px", "nm", "s", "min", "W", "E", "UTC":
			if n := len(out); n > 0 {
				out[n-1] += " " + w
				continue
			}
		}
		out = append(out, w)
	}
	return out
}

// WriteText writes the report for people, at most 80 columns wide.
func (r *Report) WriteText(w io.Writer) error {
	t := &teller{}
	noon := time.Date(r.Day.Year, r.Day.Month, r.Day.Day, 12, 0, 0, 0, time.UTC)
	t.line("Night of %s to %s", noon.Format("Monday 2 January 2006"), noon.AddDate(0, 0, 1).Format("Monday"))
	if r.Night.TimeZone != "" {
		t.line("Times are local, %s, with UTC beside them.", r.Night.TimeZone)
	} else {
		t.line("Times are UTC.")
	}
	for _, n := range r.Notes {
		if n.Caution {
			t.line("")
			t.wrap("CAUTION  ", n.Text)
		}
	}
	r.tellMoon(t)
	r.tellNight(t)
	r.tellOptics(t)
	r.tellSession(t)
	r.tellPanels(t)
	t.head("To know and to do")
	for _, n := range r.Notes {
		if !n.Caution {
			t.wrap("  - ", n.Text)
		}
	}
	if len(r.Missing) > 0 {
		t.head("Not in the manifest's night block, and what that costs")
		for _, m := range r.Missing {
			t.wrap("  - ", m.Setting+": "+m.Costs)
		}
	}
	_, err := io.WriteString(w, t.b.String())
	return err
}

func (r *Report) tellMoon(t *teller) {
	v := r.View
	where := "from the Earth's middle"
	if r.Sky != nil {
		where = "from your site"
	}
	t.head(fmt.Sprintf("The Moon at %s, %s", r.hm(r.Ref), where))
	t.fact("phase", "%s, %.1f %% lit, phase angle %.1f°, %.1f° from the Sun", r.Phase(), 100*v.Lit, v.PhaseDeg, r.SunApartDeg)
	kind := "evening"
	if r.Waxing() {
		kind = "morning"
	}
	t.fact("terminator", "%s's, at %s on the equator; colongitude %.1f°", kind, eastWest(r.TerminatorDeg()), v.ColongitudeDeg())
	t.fact("disk", "%.2f′ in diameter, %.0f km away", v.SemidiameterArcsec/30, v.DistanceKM)
	t.fact("libration", "%s° in longitude, %s° in latitude (east and north positive)", signed(v.SubLonDeg, 2), signed(v.SubLatDeg, 2))
	t.fact("axis", "north pole at position angle %.1f°, bright limb at %.1f°", v.AxisDeg, v.BrightLimbDeg)
}

func (r *Report) tellNight(t *teller) {
	s := r.Sky
	if s == nil {
		return
	}
	event := func(at *time.Time) string {
		if at == nil {
			return "does not happen"
		}
		day := ""
		if d := at.In(r.Zone).Day(); d != r.Day.Day {
			day = at.In(r.Zone).Format(" on 2 January")
		}
		return r.hm(*at) + day
	}
	t.head("The night")
	t.fact("moonrise", "%s", event(s.Rise))
	high := ""
	if s.Transit != nil {
		high = fmt.Sprintf(", %s° high", plain(s.at(*s.Transit).AltitudeDeg, 1))
	}
	t.fact("transit", "%s%s", event(s.Transit), high)
	t.fact("moonset", "%s", event(s.Set))
	t.fact("Sun", "%s", s.sunIn(event))
	t.fact("Sun below −6°", "%s", s.darkIn(event))
	if w := r.Window; w != nil {
		t.fact("best window", "%s to %s, by %s, the Moon %.0f° to %.0f° high", r.hm(w.From), r.hm(w.To), w.Light, w.LeastDeg, w.MostDeg)
		t.fact("usable", "%s to %s, the Moon at least %.0f° high in such light", r.hm(w.GoodFrom), r.hm(w.GoodTo), w.WishDeg)
	}
	r.tellTrack(t)
}

// sunIn says when the Sun sets and rises; near the poles it may do one of them only, or neither.
func (s *Sky) sunIn(event func(*time.Time) string) string {
	switch {
	case s.Sunset == nil && s.Sunrise == nil && s.site.SunAboveRising(at(s.Track[0].At)) > 0:
		return "stays up"
	case s.Sunset == nil && s.Sunrise == nil:
		return "stays down"
	case s.Sunset == nil:
		return "rises " + event(s.Sunrise) + ", and does not set"
	case s.Sunrise == nil:
		return "sets " + event(s.Sunset) + ", and does not rise"
	}
	return "sets " + event(s.Sunset) + ", rises " + event(s.Sunrise)
}

// darkIn says from when to when the Sun stands below the altitude at which civil twilight ends.
func (s *Sky) darkIn(event func(*time.Time) string) string {
	switch {
	case s.Dusk == nil && s.Dawn == nil && s.Track[0].SunDeg > duskDeg:
		return "at no time"
	case s.Dusk == nil && s.Dawn == nil:
		return "all the time"
	case s.Dusk == nil:
		return "until " + event(s.Dawn)
	case s.Dawn == nil:
		return "from " + event(s.Dusk) + " on"
	}
	return "from " + event(s.Dusk) + " to " + event(s.Dawn)
}

// tableStep is the time between rows of the table.
const tableStep = 30 * time.Minute

// Rows are the samples on full and half hours while the Moon is above the horizon.
func (s *Sky) Rows() []Sample {
	var out []Sample
	for _, x := range s.Track {
		if x.At.Unix()%int64(tableStep/time.Second) == 0 && x.AltitudeDeg > 0 {
			out = append(out, x)
		}
	}
	return out
}

func (r *Report) tellTrack(t *teller) {
	rows := r.Sky.Rows()
	if len(rows) == 0 {
		t.line("\n  The Moon does not rise in these 24 hours.")
		return
	}
	t.line("")
	t.line("   %-5s  %-5s %6s %6s %5s %6s %6s %6s %6s %6s  %s", "time", "UTC", "Moon", "az", "air", "Sun", "lib. l", "lib. b", "axis", "zenith", "sky")
	t.line("   %-5s  %-5s %6s %6s %5s %6s %6s %6s %6s %6s", "", "", "alt °", "°", "mass", "alt °", "°", "°", "°", "°")
	for i, x := range rows {
		if i > 0 && x.At.Sub(rows[i-1].At) > tableStep {
			t.line("")
		}
		mark := " "
		if w := r.Window; w != nil && !x.At.Before(w.From) && !x.At.After(w.To) {
			mark = "*"
		}
		sky := string(x.Light())
		if !x.Above() {
			sky = "blocked"
		}
		u := x.At.UTC().Format("15:04")
		t.line(" %s %-5s  %-5s %6s %6s %5s %6s %6s %6s %6.1f %6s  %s", mark, x.At.In(r.Zone).Format("15:04"), u, plain(x.AltitudeDeg, 1),
			plain(x.View.Horizon.AzimuthDeg, 1), airText(x.AltitudeDeg), plain(x.SunDeg, 1), signed(x.View.SubLonDeg, 2), signed(x.View.SubLatDeg, 2),
			x.View.AxisDeg, signed(x.View.Horizon.ParallacticDeg, 1), sky)
	}
	t.wrap("   ", "Altitudes of the Moon with refraction; zenith: its position angle, by which an altazimuth mount's field turns; * in the window.")
}

func (r *Report) tellOptics(t *teller) {
	o := r.Optics
	if o == nil {
		return
	}
	t.head(fmt.Sprintf("Telescope and camera, in light of %s nm", number(o.WavelengthNM)))
	if o.ScaleArcsec > 0 {
		t.fact("scale", "%.4f″ a pixel, %.2f km on the Moon", o.ScaleArcsec, o.ScaleArcsec*o.KMPerArcsec)
	}
	if o.WidthArcmin > 0 && o.HeightArcmin > 0 {
		t.fact("field", "%.2f′ × %.2f′", o.WidthArcmin, o.HeightArcmin)
	}
	if o.LimitArcsec > 0 {
		limit := func(name string, arcsec float64) {
			t.fact(name, "%.2f″, %.2f km in the middle of the disk", arcsec, arcsec*o.KMPerArcsec)
		}
		limit("λ/D", o.LimitArcsec)
		limit("Rayleigh", o.RayleighArcsec)
		limit("Dawes", o.DawesArcsec)
		if o.SamplingPx > 0 {
			t.fact("sampling", "%.2f px to λ/D (2 keep all that passes), f/%.1f", o.SamplingPx, o.FocalRatio)
		}
		t.line("  λ/D is the finest period that passes: ring correlation ends there at best.")
	}
	if len(r.Odds) > 0 {
		r.tellOdds(t)
	}
}

func (r *Report) tellOdds(t *teller) {
	t.line("")
	t.line("  %8s %8s %6s   %s", "seeing ″", "r0 cm", "D/r0", "good frames (Fried 1978)")
	for _, o := range r.Odds {
		text := "most"
		switch {
		case o.Good >= 0.1:
			text = fmt.Sprintf("%.0f in 100", 100*o.Good)
		case o.Good >= 1e-6:
			text = fmt.Sprintf("1 in %s", round2(1/o.Good))
		case o.Good > 0:
			text = "fewer than 1 in a million"
		}
		t.line("  %8.1f %8.1f %6.1f   %s", o.SeeingArcsec, o.R0CM, o.Ratio, text)
	}
	t.wrap("  ", "Seeing: at the zenith, 500 nm; r0: at the Moon's altitude and in your light. The formula gives some 1.4 times too many near D/r0 = 4.")
}

// round2 writes a number above 1 with two digits that count.
func round2(v float64) string {
	f := 1.0
	for v/f >= 100 {
		f *= 10
	}
	return fmt.Sprintf("%.0f", float64(int64(v/f+0.5))*f)
}

func (r *Report) tellSession(t *teller) {
	g := r.Grid
	if g == nil {
		t.head("Panels")
		t.wrap("  ", "None: "+r.NoGrid+".")
		return
	}
	t.head("The session")
	t.fact("panels", "%d in %s, %s", len(g.Panels), pipeline.Counted(g.Rows, "row"), map[string]string{"lit": "over the sunlit ground", "disk": "over the whole disk"}[r.How.Cover])
	if len(g.Panels) > 1 {
		left := "after drift and turn of the field"
		if r.How.PointingErrorArcmin != nil {
			left = "after drift, turn of the field and errors of aim, of the worst pair in 99 nights of 100,"
		}
		t.fact("overlap", "%.0f %% of the width, %.0f %% of the height; %s %.0f %% and %.0f %%",
			100*g.OverlapX, 100*g.OverlapY, left, 100*g.LeftX, 100*g.LeftY)
	}
	t.fact("time", "%s: clips of %s s, %s s between them", minutes(g.Length), number(r.How.ClipS), number(r.How.PauseS))
	if g.Bytes > 0 {
		t.fact("bytes", "%s, %d frames; %s a clip", bytesText(g.Bytes), g.Frames, bytesText(g.Bytes/int64(len(g.Panels))))
	} else {
		t.fact("bytes", "%s a frame", bytesText(g.FrameBytes))
	}
	t.fact("camera", "top of the picture at position angle %s° in the middle of the session", plain(g.CameraDeg, 1))
}

func (r *Report) tellPanels(t *teller) {
	if r.Grid == nil {
		return
	}
	t.line("")
	t.line("  %3s %-8s %-8s %7s %7s %6s %6s  %s", "", "time", "UTC", "east ′", "north ′", "right", "up", "near")
	row := 1
	for _, p := range r.Grid.Panels {
		if p.Row != row {
			t.line("")
			row = p.Row
		}
		t.line("  %3d %-8s %-8s %7s %7s %6s %6s  %s", p.Number, p.At.In(r.Zone).Format(time.TimeOnly), p.At.UTC().Format(time.TimeOnly),
			signed(p.EastArcmin, 2), signed(p.NorthArcmin, 2), signed(p.RightFields, 2), signed(p.UpFields, 2), p.Landmark)
	}
	t.wrap("  ", "Offsets of a panel's middle from the disk's: on the sky in arcmin, and in the camera's picture, not mirrored, in widths and heights of the field.")
}
