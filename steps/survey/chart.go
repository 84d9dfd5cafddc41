package survey

import (
	"io"
	"time"

	"plenilune/pipeline"
	"plenilune/steps/kernel/portable"
)

// Sizes of the chart, in px.
const (
	chartWide = 960
	plotLeft  = 56
	plotRight = 940
	plotTop   = 84
	plotTall  = 300
	lowDeg    = -20 // altitudes shown
	highDeg   = 90
)

// WriteChart writes the night as an SVG picture: the altitudes of Moon and Sun over time with the window, and the panels on the disk. It holds
// no place.
func (r *Report) WriteChart(w io.Writer) error {
	d := &drawing{}
	tall := 70.0
	if r.Sky != nil {
		tall = plotTop + plotTall + 60
	}
	mapTop := tall
	if r.Grid != nil {
		tall += mapSide + 70
	}
	title := "Night of " + time.Date(r.Day.Year, r.Day.Month, r.Day.Day, 12, 0, 0, 0, time.UTC).Format("Monday 2 January 2006")
	d.put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %.0f" width="%d" height="%.0f" role="img" aria-labelledby="t d">`, chartWide, tall, chartWide, tall)
	d.put(`<title id="t">%s</title>`, escaped(title))
	d.put(`<desc id="d">%s</desc>`, escaped(r.summary()))
	d.put("<style>%s</style>", style)
	d.put(`<rect width="%d" height="%.0f" fill="#fff"/>`, chartWide, tall)
	d.text(plotLeft, 30, "t", "%s", title)
	d.text(plotLeft, 52, "s", "%s", r.summary())
	if r.Sky != nil {
		r.drawNight(d)
	}
	if r.Grid != nil {
		r.drawPanels(d, mapTop)
	}
	d.put("</svg>")
	_, err := io.WriteString(w, d.b.String())
	return err
}

// summary is the night in one line.
func (r *Report) summary() string {
	s := "The Moon: " + r.Phase() + ", " + plain(100*r.View.Lit, 0) + " % lit, " + plain(r.View.SemidiameterArcsec/30, 1) + "′ across"
	if r.Window != nil {
		s += "; best " + r.hm(r.Window.From) + " to " + r.hm(r.Window.To)
	}
	return s
}

// x is where an instant stands on the plot.
func (r *Report) x(t time.Time) float64 {
	return plotLeft + (plotRight-plotLeft)*t.Sub(r.From).Seconds()/r.To.Sub(r.From).Seconds()
}

// y is where an altitude stands; those that are not shown stand at the edge.
func y(deg float64) float64 {
	return plotTop + plotTall*(highDeg-min(max(deg, lowDeg), highDeg))/(highDeg-lowDeg)
}

func (r *Report) drawNight(d *drawing) {
	r.drawLight(d)
	key := "grey: the Sun below −6°; light grey: twilight"
	if r.Night.Skyline != nil {
		key += "; dark green: skyline in the Moon's direction"
	}
	d.text(plotRight, plotTop-8, "s e", "%s", key)
	for deg := 0.0; deg <= highDeg; deg += 15 {
		d.put(`<path d="M%d %.1fH%d" class="g"/>`, plotLeft, y(deg), plotRight)
		d.text(plotLeft-8, y(deg)+4, "e", "%.0f°", deg)
	}
	r.drawSkyline(d)
	if w := r.Window; w != nil {
		d.put(`<rect x="%.1f" y="%d" width="%.1f" height="%.1f" class="window"/>`, r.x(w.From), plotTop, r.x(w.To)-r.x(w.From), y(0)-plotTop)
		if x := r.x(w.To) + 7; x < plotRight-100 {
			d.text(x, plotTop+17, "windowt", "best window")
		} else {
			d.text(r.x(w.From)-7, plotTop+17, "windowt e", "best window")
		}
	}
	r.drawEclipse(d)
	r.drawCurves(d)
	r.drawHours(d)
	d.put(`<path d="M%d %.1fH%d" class="a"/>`, plotLeft, y(0), plotRight)
	d.put(`<rect x="%d" y="%d" width="%d" height="%d" class="a"/>`, plotLeft, plotTop, plotRight-plotLeft, plotTall)
}

// drawLight shades night and twilight.
func (r *Report) drawLight(d *drawing) {
	class := map[Light]string{Dark: "dark", Twilight: "dusk", Daylight: "day"}
	track := r.Sky.Track
	for i := 0; i < len(track)-1; {
		j := i
		for j < len(track)-1 && track[j].Light() == track[i].Light() {
			j++
		}
		x := r.x(track[i].At)
		d.put(`<rect x="%.1f" y="%d" width="%.1f" height="%d" class="%s"/>`, x, plotTop, r.x(track[j].At)-x, plotTall, class[track[i].Light()])
		i = j
	}
}

// drawSkyline shows what stands in the Moon's way.
func (r *Report) drawSkyline(d *drawing) {
	if r.Night.Skyline == nil {
		return
	}
	var p path
	p.to(r.x(r.From), y(0))
	for _, s := range r.Sky.Track {
		p.to(r.x(s.At), y(s.SkylineDeg))
	}
	p.to(r.x(r.To), y(0))
	d.put(`<path d="%sZ" class="sky"/>`, p.b.String())
}

// drawEclipse marks the time in the umbra, or else in the penumbra.
func (r *Report) drawEclipse(d *drawing) {
	e := r.Eclipse
	if e == nil {
		return
	}
	span, name := e.Partial, "eclipse"
	if !span.Is() {
		span, name = e.Penumbral, "penumbral eclipse"
	}
	from, to := max(r.x(clock(span.From)), plotLeft), min(r.x(clock(span.To)), plotRight)
	d.put(`<rect x="%.1f" y="%.1f" width="%.1f" height="9" class="eclipse"/>`, from, y(0)+2, to-from)
	d.text((from+to)/2, y(0)+26, "warn m", "%s", name)
}

func (r *Report) drawCurves(d *drawing) {
	var moonLine, sunLine path
	top, sunEnd, noon := r.Sky.Track[0], r.Sky.Track[0], r.Sky.Track[0].SunDeg
	for _, s := range r.Sky.Track {
		for _, c := range []struct {
			line *path
			deg  float64
		}{{&moonLine, s.AltitudeDeg}, {&sunLine, s.SunDeg}} {
			if c.deg < lowDeg {
				c.line.lift()
				continue
			}
			c.line.to(r.x(s.At), y(c.deg))
		}
		if s.AltitudeDeg > top.AltitudeDeg {
			top = s
		}
		if s.SunDeg > 0.7*noon && s.At.Sub(r.From) < 8*time.Hour {
			sunEnd = s
		}
	}
	d.put(`<path d="%s" class="sun"/>`, sunLine.b.String())
	d.put(`<path d="%s" class="moon"/>`, moonLine.b.String())
	if top.AltitudeDeg > 0 {
		d.text(min(max(r.x(top.At), plotLeft+60), plotRight-60), max(y(top.AltitudeDeg)-9, plotTop+34), "moont m", "Moon, %.0f°", top.AltitudeDeg)
	}
	if sunEnd.SunDeg > 0 {
		d.text(r.x(sunEnd.At)+8, y(sunEnd.SunDeg)-2, "sunt", "Sun")
	}
}

// drawHours writes the hours below the plot.
func (r *Report) drawHours(d *drawing) {
	bottom := float64(plotTop + plotTall)
	local := r.Night.TimeZone != ""
	for t := r.From.Truncate(time.Hour); !t.After(r.To); t = t.Add(time.Hour) {
		h := t.In(r.Zone).Hour()
		if t.Before(r.From) || h%2 != 0 {
			continue
		}
		d.put(`<path d="M%.1f %.1fv6" class="a"/>`, r.x(t), bottom)
		d.text(r.x(t), bottom+21, "m", "%02d", h)
		if local {
			d.text(r.x(t), bottom+38, "u", "%02d", t.UTC().Hour())
		}
	}
	if local {
		d.text(plotLeft-20, bottom+21, "e", "local")
		d.text(plotLeft-20, bottom+38, "e s", "UTC")
		return
	}
	d.text(plotLeft-20, bottom+21, "e", "UTC")
}

// mapSide is the side of the map of panels, in px.
const mapSide = 520

// drawPanels draws the disk with its panels as they lie on the sky, north up and east left.
func (r *Report) drawPanels(d *drawing, top float64) {
	g := r.Grid
	reach := r.View.SemidiameterArcsec / 60
	for _, p := range g.Panels {
		half := portable.Hypot(r.Optics.WidthArcmin, r.Optics.HeightArcmin) / 2
		reach = max(reach, portable.Hypot(p.EastArcmin, p.NorthArcmin)+float64(0.8*half))
	}
	k := mapSide / 2 / reach
	cx, cy := float64(plotLeft+mapSide/2), top+30+mapSide/2
	place := func(s spot) (float64, float64) { return cx - float64(k*s.x), cy - float64(k*s.y) }
	d.text(plotLeft, top+12, "t", "Panels, in the order to shoot")
	d.put(`<circle cx="%.1f" cy="%.1f" r="%.1f" class="disk"/>`, cx, cy, float64(k*r.View.SemidiameterArcsec/60))
	lit := r.View
	lit.PhaseDeg += dawnDeg // ground shows the dawn too
	var p path
	for _, s := range ground(lit, "lit") {
		p.to(place(s))
	}
	d.put(`<path d="%sZ" class="lit"/>`, p.b.String())
	var way path
	for _, q := range g.Panels {
		up := frame(q.CameraDeg)
		var edge path
		for _, c := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
			edge.to(place(up.turn(spot{q.aim.x + float64(c[0]*r.Optics.WidthArcmin/2), q.aim.y + float64(c[1]*r.Optics.HeightArcmin/2)})))
		}
		d.put(`<path d="%sZ" class="panel"/>`, edge.b.String())
		way.to(place(spot{q.EastArcmin, q.NorthArcmin}))
	}
	d.put(`<path d="%s" class="way"/>`, way.b.String())
	for _, q := range g.Panels {
		x, y := place(spot{q.EastArcmin, q.NorthArcmin})
		d.put(`<circle cx="%.1f" cy="%.1f" r="10" fill="#fff" stroke="#12355b"/>`, x, y)
		d.text(x, y+4, "n", "%d", q.Number)
	}
	r.drawLegend(d, top)
}

// drawLegend says beside the map what it shows.
func (r *Report) drawLegend(d *drawing, top float64) {
	g := r.Grid
	x, y := float64(plotLeft+mapSide+40), top+60
	say := func(class, format string, args ...any) {
		d.text(x, y, class, format, args...)
		y += 22
	}
	say("", "North is up, east is left, as on the sky.")
	say("", "%s of %.1f′ × %.1f′", pipeline.Counted(len(g.Panels), "panel"), r.Optics.WidthArcmin, r.Optics.HeightArcmin)
	if len(g.Panels) > 1 {
		say("", "overlap %.0f %% × %.0f %%", 100*g.OverlapX, 100*g.OverlapY)
	}
	say("", "%s, from %s", minutes(g.Length), r.hm(g.Panels[0].At))
	if g.Bytes > 0 {
		say("", "%s", bytesText(g.Bytes))
	}
	if g.Brightest > 0 {
		say("", "expose for panel %d, then leave it", g.Brightest)
	}
	if r.turns() {
		say("", "the field turns by %s° meanwhile", signed(g.FieldTurnDeg, 1))
	}
	for _, n := range r.Notes {
		if n.Caution {
			say("warn", "CAUTION: the Sun is %.0f° from the Moon;", r.SunApartDeg)
			say("warn", "read the survey's caution first.")
		}
	}
}
