package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/stacks"
	"plenilune/steps/survey"
)

// nightManifest is the manifest of a night that was surveyed, for clips to come: in a folder called clips beside it. Its
// title is of its date: that of the manifest it was reckoned from may be of another night.
func nightManifest(name string, r *survey.Report) ([]byte, error) {
	how := r.How
	if how.WavelengthNM = 0; r.Night.Survey != nil {
		how.WavelengthNM = r.Night.Survey.WavelengthNM
	}
	data := manifestData{Name: remark(filepath.Base(name)), Title: "The Moon on " + r.Day.String(), Night: nightText(r.Night, how),
		Keep: stacks.DefaultKeep, Files: []string{"clips/*.ser"}, Bands: recipeBands()}
	var b bytes.Buffer
	if err := manifestText.Execute(&b, data); err != nil {
		return nil, fmt.Errorf("write the manifest: %w", err)
	}
	if _, diags := pipeline.LoadManifest(name, b.Bytes(), steps.All(), nil); diags.HasErrors() {
		return nil, fmt.Errorf("defect in this program: the manifest that it would write has a fault: %w", diags.Err())
	}
	return b.Bytes(), nil
}

// nightLines writes settings in lines; what is not known stands there as a remark, with an example.
type nightLines struct {
	b    strings.Builder
	open [][2]string // settings whose signs are still to be aligned: what stands before it, and after
}

// set writes one setting.
func (l *nightLines) set(indent, name, value, example, what string) {
	if value == "" {
		indent, value = indent+"# ", example
	}
	if what != "" {
		value += " # " + what
	}
	l.open = append(l.open, [2]string{indent + name, value})
}

// text writes a line that is no setting.
func (l *nightLines) text(s string) {
	wide := 0
	for _, o := range l.open {
		wide = max(wide, len(o[0]))
	}
	for _, o := range l.open {
		fmt.Fprintf(&l.b, "%-*s = %s\n", wide, o[0], o[1])
	}
	l.open = nil
	l.b.WriteString(s + "\n")
}

func (l *nightLines) number(name string, v float64, example, what string) {
	value := ""
	if v != 0 {
		value = plainNumber(v)
	}
	l.set("    ", name, value, example, what)
}

func quotedOrNot(s string) string {
	if s == "" {
		return ""
	}
	return quoteText(s)
}

// nightText is the rest of a night block: what the manifest says, and the rest as remarks.
func nightText(n pipeline.Night, how pipeline.Survey) string {
	l := &nightLines{}
	l.set("  ", "time_zone", quotedOrNot(n.TimeZone), `"Europe/Zurich"`, "")
	l.set("  ", "mount", quotedOrNot(n.Mount), `"altaz"`, `"altaz" or "equatorial"`)
	l.set("  ", "tracking", quotedOrNot(n.Tracking), `"lunar"`, `"lunar", "sidereal" or "none"`)
	l.text("\n  # It stays in this file: pictures hold how the Moon was turned, not where from.")
	l.place(n)
	l.optics(n)
	l.survey(how)
	return l.b.String()
}

// place writes where one stands.
func (l *nightLines) place(n pipeline.Night) {
	if s := n.Site; s != nil {
		l.text("  site {")
		l.set("    ", "latitude_deg", plainNumber(s.LatitudeDeg), "", "")
		l.set("    ", "longitude_deg", plainNumber(s.LongitudeDeg), "", "")
		l.set("    ", "elevation_m", plainNumber(s.ElevationM), "", "")
		l.text("  }")
	} else {
		l.text("  # site {\n  #   latitude_deg  = 0 # north\n  #   longitude_deg = 0 # east\n  #   elevation_m   = 0\n  # }")
	}
	if s := n.Skyline; s != nil {
		l.text("  skyline {")
		l.set("    ", "azimuth_deg", numberList(s.AzimuthDeg), "", "")
		l.set("    ", "altitude_deg", numberList(s.AltitudeDeg), "", "")
		l.text("  }")
	}
}

// optics writes telescope and camera.
func (l *nightLines) optics(n pipeline.Night) {
	t, c := pipeline.Telescope{}, pipeline.Camera{}
	if n.Telescope != nil {
		t = *n.Telescope
	}
	if n.Camera != nil {
		c = *n.Camera
	}
	l.text("  telescope {")
	l.number("aperture_mm", t.ApertureMM, "150", "")
	l.number("focal_length_mm", t.FocalLengthMM, "1800", "")
	l.number("obstruction", t.Obstruction, "0.30", "share of the aperture's diameter")
	l.text("  }\n  camera {")
	l.number("pixel_um", c.PixelUM, "2.9", "")
	l.number("width_px", float64(c.WidthPX), "1936", "")
	l.number("height_px", float64(c.HeightPX), "1096", "")
	l.number("bits", float64(c.Bits), "8", "")
	l.number("rate_hz", c.RateHz, "60", "frames a second")
	l.number("angle_deg", c.AngleDeg, "0", "top of its picture, from north or the zenith through east")
	l.text("  }")
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (l *nightLines) survey(how pipeline.Survey) {
	l.text("\n  # How it is to be shot: plenilune survey reckons with it, and nothing else does.\n  survey {")
	l.set("    ", "overlap", plainNumber(how.Overlap), "", "share of a field's side")
	aim := ""
	if how.PointingErrorArcmin != nil {
		aim = plainNumber(*how.PointingErrorArcmin)
	}
	l.set("    ", "pointing_error_arcmin", aim, "0.25", "along each axis, r.m.s.")
	l.set("    ", "clip_s", plainNumber(how.ClipS), "", "")
	l.set("    ", "pause_s", plainNumber(how.PauseS), "", "")
	l.set("    ", "cover", quoteText(how.Cover), "", `"lit" or "disk"`)
	l.set("    ", "least_altitude_deg", plainNumber(how.LeastAltitudeDeg), "", "")
	l.set("    ", "turn_px", plainNumber(how.TurnPx), "", "")
	l.number("wavelength_nm", how.WavelengthNM, "550", "as the clips' filter, if nothing is said")
	l.set("    ", "seeing_arcsec", numberList(how.SeeingArcsec), "", "")
	l.text("  }")
}

func numberList(v []float64) string {
	out := make([]string, len(v))
	for i, x := range v {
		out[i] = plainNumber(x)
	}
	return "[" + strings.Join(out, ", ") + "]"
}
