package pages

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
)

// kept returns the frames that a stack kept: the best by grade, of equal ones the earlier.
func (c clip) kept() []int {
	var out []int
	for i, g := range c.frames.Grade {
		if g > 0 {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(c.frames.Grade[b], c.frames.Grade[a]) })
	out = out[:min(len(out), c.panel.FramesKept)]
	slices.Sort(out)
	return out
}

// clock tells when a frame was taken, in seconds since the first, or which it is; and the unit.
func (c clip) clock() (at func(i int) float64, unit string) {
	t := c.index.TimesUnixNS
	if len(t) < 2 || len(t) < len(c.frames.Grade) || slices.Contains(t, 0) || t[len(t)-1] <= t[0] {
		return func(i int) float64 { return float64(i) }, "frame"
	}
	return func(i int) float64 { return float64(t[i]-t[0]) / 1e9 }, "s"
}

// gradeChart draws the grades over time, ticks at the kept frames.
func (c clip) gradeChart(number int) template.HTML {
	n := len(c.frames.Grade)
	if n == 0 {
		return ""
	}
	at, unit := c.clock()
	most := slices.Max(c.frames.Grade)
	p := newPlot(520, 190, [2]float64{at(0), at(n - 1)}, [2]float64{0, 1.22 * most}, fmt.Sprintf("Panel %d: grade of each frame over time, ticks at the kept frames, and how many frames have which grade", number))
	p.right = 112 // for the bars
	p.axes(unit, "grade")
	p.line("mean", 2, func(i int) (float64, float64, bool) { return at(i * (n - 1)), 1, true })
	p.line("line", n, func(i int) (float64, float64, bool) { return at(i), c.frames.Grade[i], c.frames.Grade[i] > 0 })
	var ticks []float64
	for _, i := range c.kept() {
		ticks = append(ticks, at(i))
	}
	p.ticks(ticks)
	c.gradeBars(p)
	return p.svg()
}

// gradeBars draws how many frames have which grade, at the chart's right edge, and how many of them were kept.
func (c clip) gradeBars(p *plot) {
	const bins, longest = 24, 90
	var all, kept [bins]int
	bin := func(g float64) int { return min(int(g/p.y1*bins), bins-1) }
	most := 1
	for _, g := range c.frames.Grade {
		if g > 0 {
			all[bin(g)]++
			most = max(most, all[bin(g)])
		}
	}
	for _, i := range c.kept() {
		kept[bin(c.frames.Grade[i])]++
	}
	high := (p.y(0) - p.y(p.y1)) / bins
	for k := range bins {
		for _, b := range []struct {
			class string
			n     int
		}{{"bar", all[k]}, {"bar kept", kept[k]}} {
			if b.n > 0 {
				long := float64(float64(longest*b.n) / float64(most))
				fmt.Fprintf(&p.b, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"/>`, b.class, number(p.w-8-long),
					number(p.y(float64(k+1)*p.y1/bins)+0.5), number(long), number(high-1))
			}
		}
	}
}

// driftChart draws the way that the picture took over the sensor, at one scale both ways.
func (c clip) driftChart(number int) template.HTML {
	var xs, ys []float64
	for i, s := range c.frames.Shift {
		if i < len(c.frames.Grade) && c.frames.Grade[i] > 0 {
			xs, ys = append(xs, s[0]), append(ys, -s[1])
		}
	}
	if len(xs) == 0 {
		return ""
	}
	x, y := span(xs), span(ys)
	half := float64(max(x[1]-x[0], y[1]-y[0], 1) * 0.54)
	mx, my := float64((x[0]+x[1])/2), float64((y[0]+y[1])/2)
	p := newPlot(250, 218, [2]float64{mx - half, mx + half}, [2]float64{my - half, my + half}, fmt.Sprintf("Panel %d: drift path in pixels of the sensor", number))
	p.axes("px", "px, up")
	p.line("line", len(xs), func(i int) (float64, float64, bool) { return xs[i], ys[i], true })
	p.dot(xs[0], ys[0], 3)
	return p.svg()
}

// jitter is the size of the shifts from one frame to the next, in pixels of the sensor, rms, and 0 if unknown.
func (c clip) jitter() float64 {
	sum, n := 0.0, 0
	for i := 1; i < min(len(c.frames.Shift), len(c.frames.Grade)); i++ {
		if c.frames.Grade[i] > 0 && c.frames.Grade[i-1] > 0 {
			dx, dy := c.frames.Shift[i][0]-c.frames.Shift[i-1][0], c.frames.Shift[i][1]-c.frames.Shift[i-1][1]
			sum += float64(dx*dx) + float64(dy*dy)
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}

// mapChart draws where the panels lie, as the finished picture has them.
func (sc scene) mapChart() template.HTML {
	var b strings.Builder
	x0, y0, x1, y1 := 0.0, 0.0, float64(sc.Width), float64(sc.Height)
	if l := sc.Limb; l != nil && l[2] < x1+y1 { // a limb that is hardly curved is left to lead out of the map
		x0, y0, x1, y1 = min(x0, l[0]-l[2]), min(y0, l[1]-l[2]), max(x1, l[0]+l[2]), max(y1, l[1]+l[2])
	}
	k := 560 / (x1 - x0)
	fmt.Fprintf(&b, `<svg class="map" viewBox="%s %s 566 %s" role="img" aria-label="Map of the panels">`, number(float64(x0*k)-3), number(float64(y0*k)-3), number(float64((y1-y0)*k)+6))
	if l := sc.Limb; l != nil {
		fmt.Fprintf(&b, `<circle class="limb" cx="%s" cy="%s" r="%s"/>`, number((l[0]+0.5)*k), number((l[1]+0.5)*k), number(l[2]*k))
	}
	for _, p := range sc.Panels {
		if len(p.Outline) == 0 {
			continue
		}
		d := "M"
		for i, c := range p.Outline {
			if i > 0 {
				d += "L"
			}
			d += number((c[0]+0.5)*k) + " " + number((c[1]+0.5)*k)
		}
		fmt.Fprintf(&b, `<path class="panel" d="%sZ"/>`, d)
	}
	for _, p := range sc.Panels {
		if len(p.Outline) > 0 {
			fmt.Fprintf(&b, `<text class="number" x="%s" y="%s">%d</text>`, number(p.Middle[0]*k), number(float64(p.Middle[1]*k)+5), p.Number)
		}
	}
	for _, h := range sc.Holes {
		fmt.Fprintf(&b, `<circle class="hole" cx="%s" cy="%s" r="%s"/>`, number(h.X*k), number(h.Y*k), number(max(6, h.R*k)))
	}
	return template.HTML(b.String() + "</svg>")
}

// courseChart draws a figure of each clip over the session, in minutes since the first; "" if times or figures are unknown.
func (n night) courseChart(name, unit string, figure func(i int) float64) template.HTML {
	first := int64(math.MaxInt64)
	for _, c := range n.clips {
		if c.panel.MidUnixNS > 0 {
			first = min(first, c.panel.MidUnixNS)
		}
	}
	type point struct {
		x, y   float64
		number int
	}
	var points []point
	for i, c := range n.clips {
		if v := figure(i); c.panel.MidUnixNS > 0 && v > 0 {
			points = append(points, point{float64(c.panel.MidUnixNS-first) / 60e9, v, i + 1})
		}
	}
	if len(points) < 2 {
		return ""
	}
	slices.SortStableFunc(points, func(a, b point) int { return cmp.Compare(a.x, b.x) })
	most := 0.0
	for _, q := range points {
		most = max(most, q.y)
	}
	last := points[len(points)-1].x
	p := newPlot(640, 200, [2]float64{-0.02 * last, 1.02 * last}, [2]float64{0, 1.25 * most}, name+" over the night")
	p.axes("min", name+", "+unit)
	p.line("line", len(points), func(i int) (float64, float64, bool) { return points[i].x, points[i].y, true })
	for _, q := range points {
		p.dot(q.x, q.y, 3)
		p.words(p.x(q.x), p.y(q.y)-7, "middle", fmt.Sprint(q.number))
	}
	return p.svg()
}
