package pages

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
)

// periods lists the finest periods of a clip's windows in the unit that unitOf says.
func (n night) periods(i int) []float64 {
	c := n.clips[i]
	perPx := n.sensorArcsec(i)
	if perPx == 0 {
		perPx = 1
	}
	fine := cmp.Or(c.panel.Fineness, 1)
	var out []float64
	for _, f := range c.fine.Limit {
		if f > 0 {
			out = append(out, perPx/fine/f)
		}
	}
	return out
}

// unitOf is what periods are told in: seconds of arc, or pixels of the sensor where no scale is known.
func (n night) unitOf() string {
	if n.place.Scale > 0 {
		return "″"
	}
	return "px"
}

// fineSpan is what the bars of all clips span, so that clips compare: the night's windows but for those that lie as far out as windows do
// that reach into the dark (beyond Tukey's fence, 1.5 times the spread of the middle half; Tukey 1977), and the telescope's limit.
func (n night) fineSpan(limit float64) [2]float64 {
	var all []float64
	for i := range n.clips {
		all = append(all, n.periods(i)...)
	}
	if len(all) == 0 {
		return [2]float64{}
	}
	slices.Sort(all)
	quarter, most := all[len(all)/4], all[3*len(all)/4]
	lo, hi := all[0], min(all[len(all)-1], most+float64(1.5*(most-quarter)))
	if limit > 0 {
		lo, hi = min(lo, limit), max(hi, limit)
	}
	room := max(float64(0.06*(hi-lo)), float64(0.02*hi))
	return [2]float64{max(0, lo-room), hi + room}
}

// fineBars draws how much of a panel is how fine: bars are shares of its windows, those beyond the span in the last one. The
// telescope's limit and the figure of the whole panel are lines.
func (n night) fineBars(i int, x [2]float64, limit float64) template.HTML {
	values := n.periods(i)
	if len(values) == 0 {
		return ""
	}
	const bins = 40
	var count [bins]float64
	for _, v := range values {
		k := int(math.Floor((v - x[0]) / (x[1] - x[0]) * bins))
		count[min(max(k, 0), bins-1)] += 100 / float64(len(values))
	}
	most := slices.Max(count[:])
	p := newPlot(520, 150, x, [2]float64{0, 1.45 * most}, fmt.Sprintf("Panel %d: how much of it is how fine", i+1))
	p.axes("finest period, "+n.unitOf(), "% of the windows")
	for k, share := range count {
		if share > 0 {
			from, to := x[0]+float64(float64(k)/bins*(x[1]-x[0])), x[0]+float64(float64(k+1)/bins*(x[1]-x[0]))
			fmt.Fprintf(&p.b, `<rect class="bar kept" x="%s" y="%s" width="%s" height="%s"/>`, number(p.x(from)+0.5), number(p.y(share)),
				number(p.x(to)-p.x(from)-1), number(p.y(0)-p.y(share)))
		}
	}
	whole, arcsec := n.finestOf(i)
	if n.place.Scale > 0 {
		whole = arcsec
	}
	p.upright("whole", whole, "whole panel", 42)
	if limit > 0 {
		p.upright("limit", limit, "λ/D", 28)
	}
	return p.svg()
}

// upright draws a line at a place of the horizontal axis, if it lies on it, with words beside it at a height.
func (p *plot) upright(class string, at float64, words string, y float64) {
	if at <= p.x0 || at >= p.x1 {
		return
	}
	x := p.x(at)
	fmt.Fprintf(&p.b, `<path class="%s" d="M%s 19V%s"/>`, class, number(x), number(p.h-p.low))
	p.words(x+4, y, "start", words)
}
