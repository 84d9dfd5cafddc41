package survey

import (
	"fmt"
	"strings"
)

// drawing is an SVG picture in the making.
type drawing struct{ b strings.Builder }

// put adds one element; attributes that repeat stand in the style sheet.
func (d *drawing) put(format string, args ...any) {
	fmt.Fprintf(&d.b, format, args...)
	d.b.WriteByte('\n')
}

// text adds words at a place; class says how they look.
func (d *drawing) text(x, y float64, class, format string, args ...any) {
	d.put(`<text x="%.1f" y="%.1f" class="%s">%s</text>`, x, y, class, escaped(fmt.Sprintf(format, args...)))
}

var escapes = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

func escaped(s string) string { return escapes.Replace(s) }

// path writes points as the data of a path, a new stroke where join is false.
type path struct {
	b    strings.Builder
	open bool
}

func (p *path) to(x, y float64) {
	c := "M"
	if p.open {
		c = "L"
	}
	p.open = true
	fmt.Fprintf(&p.b, "%s%.1f %.1f", c, x, y)
}

func (p *path) lift() { p.open = false }

// style serves screens and printers: lines differ in width and dashes, areas in lightness, not in colour alone.
const style = `text{font-family:system-ui,"DejaVu Sans",Arial,sans-serif;font-size:13px;fill:#1a1a1a}
.t{font-size:19px;font-weight:600}.s{font-size:13px;fill:#444}.m{text-anchor:middle}.e{text-anchor:end}.n{font-size:12px;text-anchor:middle;font-weight:600}
.u{fill:#555;text-anchor:middle}.g{stroke:#bbb;stroke-width:1;fill:none}.a{stroke:#333;stroke-width:1.2;fill:none}
.moon{stroke:#12355b;stroke-width:3;fill:none}.sun{stroke:#b4530a;stroke-width:2;fill:none;stroke-dasharray:8 5}
.moont{fill:#12355b;font-weight:600}.sunt{fill:#b4530a;font-weight:600}
.sky{fill:#5d6b57}.window{fill:#2f7d4f;fill-opacity:.22;stroke:#1d5c38;stroke-width:1.5}.windowt{fill:#1d5c38;font-weight:600}
.eclipse{fill:#9c1c1c}
.dark{fill:#c3cad6}.dusk{fill:#e2e6ed}.day{fill:#fff}
.disk{fill:#8a8f98;stroke:#333;stroke-width:1}.lit{fill:#f4f1e6}.panel{fill:#12355b;fill-opacity:.07;stroke:#12355b;stroke-width:1.4}
.way{fill:none;stroke:#b4530a;stroke-width:1.4;stroke-dasharray:5 4}.warn{fill:#9c1c1c;font-weight:600}`
