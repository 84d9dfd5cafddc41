package survey

import (
	"fmt"
	"math"
	"time"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// missing names what the manifest lacks, and what that costs.
func (r *Report) missing() {
	lack := func(is bool, setting, costs string) {
		if is {
			r.Missing = append(r.Missing, Missing{setting, costs})
		}
	}
	n := r.Night
	t, c := n.Telescope, n.Camera
	lack(n.Site == nil, "site", "rise and set, altitudes, the Sun, when to shoot and how the view turns; the Moon is told as from the Earth's middle")
	lack(n.TimeZone == "", "time_zone", "local time: all times are UTC")
	lack(n.Mount == "", "mount", "whether the camera turns on the sky: it is taken for equatorial")
	lack(n.Tracking == "", "tracking", "whether the Moon drifts through the field: it is taken for guided after the Moon")
	lack(t == nil || t.ApertureMM == 0, "telescope.aperture_mm", "limits of resolution, sampling and the odds of good frames")
	lack(t == nil || t.FocalLengthMM == 0, "telescope.focal_length_mm", "scale and field, so the panels")
	lack(c == nil || c.PixelUM == 0, "camera.pixel_um", "scale and field, so the panels")
	lack(c == nil || c.WidthPX == 0 || c.HeightPX == 0, "camera.width_px, height_px", "the field, so the panels and the bytes")
	lack(c == nil || c.Bits == 0, "camera.bits", "bytes of a frame: it is taken for 8 bits")
	lack(c == nil || c.RateHz == 0, "camera.rate_hz", "bytes of a session")
	lack(r.How.PointingErrorArcmin == nil, "survey.pointing_error_arcmin", "how much overlap aims need: what the overlap bears is told instead")
}

func (r *Report) note(code, format string, args ...any) {
	r.Notes = append(r.Notes, Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

func (r *Report) caution(code, format string, args ...any) {
	r.Notes = append(r.Notes, Note{Code: code, Text: fmt.Sprintf(format, args...), Caution: true})
}

// advise says what to know and to do, cautions first.
func (r *Report) advise() {
	r.cautions()
	r.adviseTime()
	r.adviseEclipse()
	if r.Grid != nil {
		r.adviseView()
		r.adviseAims()
	}
	r.adviseOptics()
	r.note("night-outside", "Cold, dark ground, cables and mains power near dew hurt people: dress, light your way, keep mains connections dry.")
}

// sunWords say whose rules hold.
const sunWords = "Sunlight through a telescope or finder blinds at once and starts fires: only certified full-aperture filters, their makers' instructions and your local rules make it safe."

// nearSunDeg is how near to the Sun the Moon gets a caution even by night.
const nearSunDeg = 45

func (r *Report) cautions() {
	switch {
	case r.SunApartDeg < leastSunDeg:
		r.caution("near-sun", "The Moon stands %.1f° from the Sun. Do not point anything there. %s No places to aim at are told within %d° of the Sun.",
			r.SunApartDeg, sunWords, leastSunDeg)
	case r.Window != nil && r.Window.Light == Daylight:
		better := ""
		if r.SunApartDeg < 2*leastSunDeg {
			better = "So thin and so near a Moon is better left for another day. "
		}
		r.caution("sun-up", "The Sun is up while you shoot, %.0f° from the Moon. %sFind the Moon without sweeping the sky, stand the telescope in shade that the Sun does not reach in the meantime, and cap the finder. %s",
			r.SunApartDeg, better, sunWords)
	case r.SunApartDeg < nearSunDeg:
		r.caution("sun-near", "The Moon stands only %.0f° from the Sun. Begin when the Sun is below the horizon, end before it rises, and do not sweep towards it. %s",
			r.SunApartDeg, sunWords)
	}
}

func (r *Report) adviseTime() {
	w := r.Window
	if r.Sky == nil || r.SunApartDeg < leastSunDeg {
		return
	}
	if w == nil {
		r.note("no-window", "There is no time at which the Moon is more than 5° high and clear of the skyline and the Sun.")
		return
	}
	if w.Low {
		r.note("low-moon", "The Moon is as low as %.0f° while you shoot; %.0f° were asked for.", w.LeastDeg, r.How.LeastAltitudeDeg)
	}
	if w.Short && r.Grid != nil {
		r.note("short-window", "The window ends %s before all panels are shot: shorten clips or pauses, or take fewer panels.",
			minutes(r.Grid.Length-w.To.Sub(w.From)))
	}
	if w.Capped > 0 {
		r.note("zenith", "Above %.0f° the field would turn too fast for such panels: the window keeps the Moon below.", w.Capped)
	}
	if w.Light == Twilight {
		r.note("twilight", "Part of the window is in twilight: the sky is brighter then, and the Moon's contrast less.")
	}
	air := moon.StandardAir(0)
	if r.Night.Site != nil {
		air = moon.StandardAir(r.Night.Site.ElevationM)
	}
	h := r.Sky.at(r.Ref).AltitudeDeg
	note := ""
	if o := r.Optics; o != nil && o.LimitArcsec > 0 {
		note = fmt.Sprintf(", %.1f times λ/D: without a filter it blurs a mono camera's picture by as much", air.Dispersion(450, 650, max(h, 5))/o.LimitArcsec)
	}
	r.note("dispersion", "At %.0f° of altitude the air spreads light of 450 to 650 nm over %.2f″%s.", h, air.Dispersion(450, 650, max(h, 5)), note)
}

func (r *Report) adviseEclipse() {
	e := r.Eclipse
	if e == nil {
		return
	}
	kind := "penumbral, hardly to be seen"
	if e.Magnitude >= 1 {
		kind = "total"
	} else if e.Magnitude > 0 {
		kind = "partial"
	}
	text := fmt.Sprintf("The Moon is eclipsed (%s): greatest at %s, %.2f of its diameter in the umbra, %.2f in the penumbra; penumbra from %s to %s", kind, r.hm(clock(e.Greatest)),
		max(0, e.Magnitude), e.PenumbralMagnitude, r.hm(clock(e.Penumbral.From)), r.hm(clock(e.Penumbral.To)))
	if e.Partial.Is() {
		text += fmt.Sprintf(", umbra from %s to %s", r.hm(clock(e.Partial.From)), r.hm(clock(e.Partial.To)))
	}
	if e.Total.Is() {
		text += fmt.Sprintf(", total from %s to %s", r.hm(clock(e.Total.From)), r.hm(clock(e.Total.To)))
	}
	text += " (good to 2 minutes)"
	if r.Sky != nil && !r.Sky.at(clock(e.Greatest)).Above() {
		text += "; at its greatest the Moon is not up where you stand"
	}
	r.note("eclipse", "%s. Panels shot meanwhile do not match others in brightness.", text)
}

// adviseView says how the view turns and what that asks for.
func (r *Report) adviseView() {
	g := r.Grid
	if g.GroundKnown {
		must := "nothing needs to be corrected"
		if g.GroundPx > r.How.TurnPx {
			must = "it must be corrected, and the mosaic does so where the manifest holds the site and the clips their times"
		}
		r.note("turn-of-the-moon", "The Moon turns under you: from the first to the last panel ground in the disk's middle moves by %.1f px (%.1f km) against the limb; it takes %s to move by %s px: %s.",
			g.GroundPx, g.GroundKM, minutes(g.Until), number(r.How.TurnPx), must)
	}
	if r.turns() {
		r.note("turn-of-the-field", "On the altazimuth mount the field turns by %s° during the session, %s° an hour in its middle; a clip turns by %.2f°, which moves its corners by %.1f px. Aims are told for their times; do not turn the camera.",
			signed(g.FieldTurnDeg, 1), signed(g.FieldRate, 1), math.Abs(g.FieldRate)*r.How.ClipS/3600,
			math.Abs(g.FieldRate)*r.How.ClipS/3600*degree/2*portable.Hypot(float64(r.Night.Camera.WidthPX), float64(r.Night.Camera.HeightPX)))
	}
	if g.DriftArcsec > 1 {
		r.note("drift", "Guided like this the Moon drifts by %.0f″ while a clip lasts (%.0f px): only what stays in the field counts, %.1f′ × %.1f′.",
			g.DriftArcsec, g.DriftArcsec/r.Optics.ScaleArcsec, g.WidthArcmin, g.HeightArcmin)
	}
	if r.Night.Mount == "equatorial" && r.Sky != nil && r.Sky.Transit != nil {
		start := r.start(g.Length)
		switch t := *r.Sky.Transit; {
		case t.After(start) && t.Before(start.Add(g.Length)):
			last := g.Panels[0]
			for _, p := range g.Panels {
				if p.At.Before(t) {
					last = p
				}
			}
			r.note("meridian", "The Moon passes the meridian at %s, during panel %d. A mount that must change sides there does so before or after that panel, not in it; the camera is upside down from then on, which the mosaic finds.", r.hm(t), last.Number)
		case t.After(start.Add(-time.Hour)) && t.Before(start.Add(g.Length+time.Hour)):
			r.note("meridian", "The Moon passes the meridian at %s, outside the session: a mount that must change sides there need not do so meanwhile.", r.hm(t))
		}
	}
}

// adviseAims says what the grid bears, and how to expose.
func (r *Report) adviseAims() {
	g := r.Grid
	o := r.How.Overlap
	if g.OverlapX > o+0.0005 || g.OverlapY > o+0.0005 {
		r.note("more-overlap", "Neighbours share %.0f %% of the width and %.0f %% of the height instead of %.0f %%: so errors of aim and the turn of the field leave no gap in 99 nights of 100.", 100*g.OverlapX, 100*g.OverlapY, 100*o)
	}
	if r.How.PointingErrorArcmin == nil {
		r.note("aims", "The grid closes in 99 nights of 100 if aims miss by no more than %.2f′ r.m.s. along each axis (%.0f px); state survey.pointing_error_arcmin and the overlaps will suit it.", g.BearsArcmin, g.BearsArcmin*60/r.Optics.ScaleArcsec)
	}
	if g.Brightest > 0 && r.View.PhaseDeg < flatDeg {
		r.note("exposure", "Set exposure and gain once, on the brightest ground (the rays about Tycho, panel %d), to some three quarters of white, and leave them for all panels.", g.Brightest)
	} else if g.Brightest > 0 {
		r.note("exposure", "Set exposure and gain once, on the brightest ground (panel %d, by the Sun's height; rays may be brighter), to some three quarters of white, and leave them for all panels.", g.Brightest)
	} else {
		r.note("exposure", "Set exposure and gain once, on the brightest panel, to some three quarters of white, and leave them for all panels.")
	}
}

func (r *Report) adviseOptics() {
	o := r.Optics
	if o == nil || o.SamplingPx == 0 {
		return
	}
	switch {
	case o.SamplingPx < 2:
		r.note("sampling", "Pixels are coarse: %.2f to λ/D, where 2 keep all the telescope shows. A focal length %.1f times as long, or clips stacked at a larger scale, would help in steady air.", o.SamplingPx, 2/o.SamplingPx)
	case o.SamplingPx > 4:
		r.note("sampling", "Pixels are finer than needed: %.1f to λ/D, where 2 keep all the telescope shows. A shorter focal length or binning makes fields larger and frames brighter.", o.SamplingPx)
	}
}
