package survey

import (
	"math"
	"time"

	"plenilune/steps/kernel/moon"
)

// Events is the report as objects for scripts: each has an event, and units in its other names. Times are RFC 3339, in UTC and, as local, in the
// night's zone.
func (r *Report) Events() []map[string]any {
	out := []map[string]any{r.nightEvent(), r.moonEvent()}
	for _, n := range r.Notes {
		kind := "advice"
		if n.Caution {
			kind = "caution"
		}
		out = append(out, map[string]any{"event": kind, "code": n.Code, "text": n.Text})
	}
	out = append(out, r.skyEvents()...)
	if e := r.Eclipse; e != nil {
		out = append(out, r.eclipseEvent(*e))
	}
	out = append(out, r.opticsEvents()...)
	out = append(out, r.gridEvents()...)
	for _, m := range r.Missing {
		out = append(out, map[string]any{"event": "missing", "setting": m.Setting, "costs": m.Costs})
	}
	return out
}

// rounded keeps enough digits of a number for people and no noise.
func rounded(v float64, digits int) float64 {
	f := 1.0
	for range digits {
		f *= 10
	}
	return math.Round(v*f)/f + 0
}

// when puts an instant into an object.
func (r *Report) when(o map[string]any, name string, t time.Time) {
	t = t.Round(time.Second)
	o[name] = t.UTC().Format(time.RFC3339)
	o[name+"_local"] = t.In(r.Zone).Format(time.RFC3339)
}

func (r *Report) nightEvent() map[string]any {
	o := map[string]any{"event": "night", "date": r.Day.String(), "time_zone": r.Zone.String(), "site_known": r.Sky != nil}
	r.when(o, "from", r.From)
	r.when(o, "to", r.To)
	if w := r.Window; w != nil {
		r.when(o, "window_from", w.From)
		r.when(o, "window_to", w.To)
		o["window_light"], o["window_short"], o["window_low"] = string(w.Light), w.Short, w.Low
		o["least_altitude_deg"], o["most_altitude_deg"] = rounded(w.LeastDeg, 2), rounded(w.MostDeg, 2)
	}
	if s := r.Sky; s != nil {
		for name, t := range map[string]*time.Time{"moonrise": s.Rise, "transit": s.Transit, "moonset": s.Set, "sunset": s.Sunset,
			"sunrise": s.Sunrise, "dusk": s.Dusk, "dawn": s.Dawn} {
			if t != nil {
				r.when(o, name, *t)
			}
		}
	}
	return o
}

func (r *Report) moonEvent() map[string]any {
	v := r.View
	o := map[string]any{"event": "moon", "phase": r.Phase(), "lit": rounded(v.Lit, 5), "phase_angle_deg": rounded(v.PhaseDeg, 3),
		"diameter_arcmin": rounded(v.SemidiameterArcsec/30, 4), "distance_km": rounded(v.DistanceKM, 1),
		"libration_lon_deg": rounded(v.SubLonDeg, 3), "libration_lat_deg": rounded(v.SubLatDeg, 3), "axis_deg": rounded(v.AxisDeg, 3),
		"bright_limb_deg": rounded(v.BrightLimbDeg, 3), "colongitude_deg": rounded(v.ColongitudeDeg(), 3),
		"terminator_lon_deg": rounded(r.TerminatorDeg(), 3), "sun_apart_deg": rounded(r.SunApartDeg, 3)}
	r.when(o, "at", r.Ref)
	return o
}

func (r *Report) skyEvents() (out []map[string]any) {
	if r.Sky == nil {
		return nil
	}
	for _, s := range r.Sky.Rows() {
		o := map[string]any{"event": "sky", "altitude_deg": rounded(s.AltitudeDeg, 3), "azimuth_deg": rounded(s.View.Horizon.AzimuthDeg, 3),
			"skyline_deg": rounded(s.SkylineDeg, 2), "sun_altitude_deg": rounded(s.SunDeg, 3), "sun_apart_deg": rounded(s.SunApartDeg, 3),
			"air_mass": rounded(moon.AirMass(s.AltitudeDeg), 3), "libration_lon_deg": rounded(s.View.SubLonDeg, 3),
			"libration_lat_deg": rounded(s.View.SubLatDeg, 3), "axis_deg": rounded(s.View.AxisDeg, 3),
			"zenith_deg": rounded(s.View.Horizon.ParallacticDeg, 3), "light": string(s.Light()),
			"diameter_arcmin": rounded(s.View.SemidiameterArcsec/30, 4), "distance_km": rounded(s.View.DistanceKM, 1)}
		r.when(o, "at", s.At)
		out = append(out, o)
	}
	return out
}

func (r *Report) eclipseEvent(e moon.Eclipse) map[string]any {
	o := map[string]any{"event": "eclipse", "umbral_magnitude": rounded(e.Magnitude, 4), "penumbral_magnitude": rounded(e.PenumbralMagnitude, 4)}
	r.when(o, "greatest", clock(e.Greatest))
	for name, s := range map[string]moon.Span{"penumbral": e.Penumbral, "partial": e.Partial, "total": e.Total} {
		if s.Is() {
			r.when(o, name+"_from", clock(s.From))
			r.when(o, name+"_to", clock(s.To))
		}
	}
	return o
}

func (r *Report) opticsEvents() (out []map[string]any) {
	o := r.Optics
	if o == nil {
		return nil
	}
	e := map[string]any{"event": "optics", "wavelength_nm": o.WavelengthNM}
	for name, v := range map[string]float64{"scale_arcsec": o.ScaleArcsec, "field_width_arcmin": o.WidthArcmin, "field_height_arcmin": o.HeightArcmin,
		"limit_arcsec": o.LimitArcsec, "rayleigh_arcsec": o.RayleighArcsec, "dawes_arcsec": o.DawesArcsec, "sampling_px": o.SamplingPx,
		"focal_ratio": o.FocalRatio, "km_per_arcsec": o.KMPerArcsec, "limit_km": o.LimitArcsec * o.KMPerArcsec,
		"rayleigh_km": o.RayleighArcsec * o.KMPerArcsec, "dawes_km": o.DawesArcsec * o.KMPerArcsec} {
		if v > 0 {
			e[name] = rounded(v, 5)
		}
	}
	out = append(out, e)
	for _, x := range r.Odds {
		one := map[string]any{"event": "odds", "seeing_arcsec": x.SeeingArcsec, "r0_cm": rounded(x.R0CM, 3), "d_over_r0": rounded(x.Ratio, 3)}
		if x.Good > 0 {
			one["good_share"] = x.Good
		}
		out = append(out, one)
	}
	return out
}

func (r *Report) gridEvents() []map[string]any {
	g := r.Grid
	if g == nil {
		return []map[string]any{{"event": "session", "panels": 0, "why": r.NoGrid}}
	}
	o := map[string]any{"event": "session", "panels": len(g.Panels), "rows": g.Rows, "cover": r.How.Cover,
		"overlap_width": rounded(g.OverlapX, 4), "overlap_height": rounded(g.OverlapY, 4), "left_width": rounded(g.LeftX, 4), "left_height": rounded(g.LeftY, 4),
		"bears_arcmin": rounded(g.BearsArcmin, 4), "rim_arcmin": rounded(g.RimArcmin, 4), "camera_deg": rounded(g.CameraDeg, 3),
		"length_s": rounded(g.Length.Seconds(), 3), "frame_bytes": g.FrameBytes, "drift_arcsec_a_clip": rounded(g.DriftArcsec, 2),
		"field_turn_deg": rounded(g.FieldTurnDeg, 3), "field_turn_deg_an_hour": rounded(g.FieldRate, 3)}
	if g.Bytes > 0 {
		o["bytes"], o["frames"] = g.Bytes, g.Frames
	}
	if g.GroundKnown {
		o["ground_px"], o["ground_km"] = rounded(g.GroundPx, 3), rounded(g.GroundKM, 3)
		o["until_turned_s"], o["turned_px"], o["must_correct"] = rounded(g.Until.Seconds(), 0), r.How.TurnPx, g.GroundPx > r.How.TurnPx
	}
	if g.Brightest > 0 {
		o["brightest_panel"] = g.Brightest
	}
	out := []map[string]any{o}
	for _, p := range g.Panels {
		e := map[string]any{"event": "panel", "number": p.Number, "row": p.Row, "east_arcmin": rounded(p.EastArcmin, 4),
			"north_arcmin": rounded(p.NorthArcmin, 4), "right_fields": rounded(p.RightFields, 4), "up_fields": rounded(p.UpFields, 4),
			"camera_deg": rounded(p.CameraDeg, 3)}
		if p.Landmark != "" {
			e["near"] = p.Landmark
		}
		r.when(e, "at", p.At)
		out = append(out, e)
	}
	return out
}
