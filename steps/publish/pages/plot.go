package pages

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
)

// plot is a small chart as SVG: it looks after the axes, in units of the chart's own pixels. It is written here rather than by a plotting
// library since these hundred lines give the same bytes everywhere, leave typeface and colours to the page's style, so that charts follow
// the screen's width and the printer's paper, and carry words for those who cannot see them.
type plot struct {
	w, h, left, low float64 // size, and room for the labels
	right           float64 // room at the right edge
	x0, x1, y0, y1  float64 // what the axes span
	b               strings.Builder
}

// newPlot begins a chart; spans of nothing are widened.
func newPlot(w, h float64, x, y [2]float64, label string) *plot {
	p := &plot{w: w, h: h, left: 46, low: 22, right: 8, x0: x[0], x1: x[1], y0: y[0], y1: y[1]}
	if p.x1 <= p.x0 {
		p.x1 = p.x0 + 1
	}
	if p.y1 <= p.y0 {
		p.y0, p.y1 = p.y0-0.5, p.y1+0.5
	}
	fmt.Fprintf(&p.b, `<svg viewBox="0 0 %s %s" role="img" aria-label="%s">`, number(w), number(h), template.HTMLEscapeString(label))
	return p
}

// number writes a coordinate to a tenth of a pixel.
func number(v float64) string { return strconv.FormatFloat(tidy(v, 10), 'f', -1, 64) }

func (p *plot) x(v float64) float64 {
	return p.left + float64((v-p.x0)/(p.x1-p.x0)*(p.w-p.left-p.right))
}

func (p *plot) y(v float64) float64 {
	return p.h - p.low - float64((v-p.y0)/(p.y1-p.y0)*(p.h-p.low-10))
}

// axes draws both axes with round numbers at them.
func (p *plot) axes(xName, yName string) {
	fmt.Fprintf(&p.b, `<path class="axis" d="M%s 6V%sH%s"/>`, number(p.left), number(p.h-p.low), number(p.w-p.right))
	for _, v := range round(p.x0, p.x1, 6) {
		fmt.Fprintf(&p.b, `<path class="axis" d="M%[1]s %[2]sv4"/><text x="%[1]s" y="%[3]s" text-anchor="middle">%[4]s</text>`,
			number(p.x(v)), number(p.h-p.low), number(p.h-p.low+15), plain(v))
	}
	for _, v := range round(p.y0, p.y1, 4) {
		fmt.Fprintf(&p.b, `<path class="axis" d="M%s %sh-4"/><text x="%s" y="%s" text-anchor="end">%s</text>`,
			number(p.left), number(p.y(v)), number(p.left-7), number(p.y(v)+4), plain(v))
	}
	p.words(p.w-p.right, p.h-p.low-5, "end", xName)
	p.words(p.left+6, 14, "start", yName)
}

func (p *plot) words(x, y float64, anchor, text string) {
	fmt.Fprintf(&p.b, `<text x="%s" y="%s" text-anchor="%s">%s</text>`, number(x), number(y), anchor, template.HTMLEscapeString(text))
}

// line joins points; it breaks where keep says no.
func (p *plot) line(class string, n int, at func(i int) (x, y float64, ok bool)) {
	var d strings.Builder
	pen := "M"
	for i := range n {
		x, y, ok := at(i)
		if !ok {
			pen = "M"
			continue
		}
		d.WriteString(pen + number(p.x(x)) + " " + number(p.y(y)))
		pen = "L"
	}
	fmt.Fprintf(&p.b, `<path class="%s" d="%s"/>`, class, d.String())
}

func (p *plot) dot(x, y, r float64) {
	fmt.Fprintf(&p.b, `<circle class="dot" cx="%s" cy="%s" r="%s"/>`, number(p.x(x)), number(p.y(y)), number(r))
}

// ticks marks places along the chart's upper edge.
func (p *plot) ticks(xs []float64) {
	var d strings.Builder
	for _, x := range xs {
		d.WriteString("M" + number(p.x(x)) + " 20v7")
	}
	fmt.Fprintf(&p.b, `<path class="tick" d="%s"/>`, d.String())
}

func (p *plot) svg() template.HTML { return template.HTML(p.b.String() + "</svg>") }

// round returns round numbers within a span, about n of them: steps of 1, 2 or 5 times a power of ten.
func round(from, to float64, n int) []float64 {
	rough := (to - from) / float64(n)
	power := 1.0
	for power > rough {
		power /= 10
	}
	for power*10 <= rough {
		power *= 10
	}
	step := power
	for _, k := range []float64{2, 5, 10} {
		if step < rough {
			step = float64(k * power)
		}
	}
	var out []float64
	for i := math.Ceil(from/step - 1e-9); float64(i*step) <= to+float64(1e-9*step); i++ {
		out = append(out, float64(i*step))
	}
	return out
}

func plain(v float64) string {
	return strings.Replace(strconv.FormatFloat(tidy(v, 1e6), 'g', -1, 64), "-", "−", 1)
}

func span(values []float64) [2]float64 {
	if len(values) == 0 {
		return [2]float64{}
	}
	return [2]float64{slices.Min(values), slices.Max(values)}
}
