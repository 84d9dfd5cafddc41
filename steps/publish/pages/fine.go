package pages

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/warp"
)

// finestTable is how fine the mosaic's detail is, in square cells from its first pixel on.
type finestTable struct {
	Cell     int       `json:"cell_px"`
	NX       int       `json:"nx"`
	NY       int       `json:"ny"`
	PeriodPx []float64 `json:"period_px"` // of the mosaic; 0: unknown
}

// sceneFine is a map of how fine the detail is, as the page draws it.
type sceneFine struct {
	NX int `json:"nx"`
	NY int `json:"ny"`
	// ToCell takes places of the picture, in pixels from its first pixel's middle, to cells, counted from the first cell's middle.
	ToCell warp.Affine `json:"toCell"`
	// Periods are in Unit: 16 bits a cell, the low byte first, in hundredths of it or what Part says, in base64; 0 is unknown.
	Periods string  `json:"periods"`
	Part    float64 `json:"part"`
	Unit    string  `json:"unit"` // "″" or " px"
	// Edges are round periods at which colours change, the finest first, Unit each.
	Edges []float64 `json:"edges"`
	Limit float64   `json:"limit,omitempty"` // the telescope's, Unit
}

// fineMap is a finestTable with periods as they are told.
type fineMap struct {
	finestTable
	toMosaic warp.Affine
	value    []float64 // in unit; 0: unknown
	unit     string
	edges    []float64
	limit    float64
}

// fineOf reads the map, nil if nothing of it is known. Beyond the limb and in the dark there is nothing to be seen, whatever the windows
// say that reach there.
func (n night) fineOf(s pageSettings, l layoutTable, f frame) *fineMap {
	m := &fineMap{finestTable: n.finest, toMosaic: f.ToSource, unit: "″"}
	if m.toMosaic == (warp.Affine{}) {
		m.toMosaic = warp.Affine{1, 0, 0, 0, 1, 0}
	}
	perPx := n.place.Scale
	if perPx == 0 {
		perPx, m.unit = 1, " px"
	} else {
		m.limit = tidy(n.limitArcsec(s), 1e3)
	}
	m.value = make([]float64, len(m.PeriodPx))
	var known []float64
	for k, p := range m.PeriodPx {
		x, y := m.middle(k)
		if p == 0 || n.place.Limb.beyond(x, y, float64(m.Cell)) {
			continue
		}
		if x, y = f.picture(x, y); x >= 0 && y >= 0 && x < float64(l.Width) && y < float64(l.Height) && !l.lit(x, y) {
			continue
		}
		m.value[k] = p * perPx
		known = append(known, m.value[k])
	}
	if len(known) == 0 {
		return nil
	}
	m.edges = edgesFor(known)
	return m
}

// middle is that of cell k, in pixels of the mosaic.
func (t *finestTable) middle(k int) (x, y float64) {
	half := float64(float64(t.Cell-1) / 2)
	return float64(k%t.NX*t.Cell) + half, float64(k/t.NX*t.Cell) + half
}

const (
	fineClasses = 8
	leastSpread = 2.0 / 3 // of the median: the colours span a factor of two at the least, so that they do not make much of little
)

// edgesFor returns round numbers that part all but a few of the values into some classes.
func edgesFor(values []float64) []float64 {
	values = slices.Sorted(slices.Values(values))
	few := len(values) / 25
	lo, hi := values[few], values[len(values)-1-few]
	if least := float64(leastSpread * robust.Median(values)); hi-lo < least {
		mid := float64((hi + lo) / 2)
		lo, hi = mid-float64(least/2), mid+float64(least/2)
	}
	out := round(lo, hi, fineClasses)
	for i, e := range out {
		out[i] = tidy(e, 1e6)
	}
	return out
}

// class is how many edges a value lies beyond.
func (m *fineMap) class(v float64) int {
	k := 0
	for k < len(m.edges) && v >= m.edges[k] {
		k++
	}
	return k
}

// at is the value at a place of the finished picture, 0 where unknown.
func (m *fineMap) at(x, y float64) float64 {
	x, y = m.toMosaic.Apply(x, y)
	i, j := int(math.Floor((x+0.5)/float64(m.Cell))), int(math.Floor((y+0.5)/float64(m.Cell)))
	if i < 0 || j < 0 || i >= m.NX || j >= m.NY {
		return 0
	}
	return m.value[j*m.NX+i]
}

// scene is the map for the page's script.
func (m *fineMap) scene() *sceneFine {
	if m == nil {
		return nil
	}
	out := &sceneFine{NX: m.NX, NY: m.NY, Unit: m.unit, Edges: m.edges, Limit: m.limit, Part: 0.01}
	if most := slices.Max(m.value); most/out.Part > math.MaxUint16 {
		out.Part = most / math.MaxUint16
	}
	c := float64(m.Cell)
	for i, v := range m.toMosaic {
		out.ToCell[i] = v / c
	}
	half := float64((c - 1) / 2 / c)
	out.ToCell[2], out.ToCell[5] = out.ToCell[2]-half, out.ToCell[5]-half
	b := make([]byte, 2*len(m.value))
	for k, v := range m.value {
		binary.LittleEndian.PutUint16(b[2*k:], uint16(math.Round(v/out.Part)))
	}
	out.Periods = base64.StdEncoding.EncodeToString(b)
	return out
}

// fineColour is that of a class of so many: light yellow for the finest, over green, to dark blue, darker by even steps, so that the order
// shows in grey and to eyes that do not tell red from green. The page's script has the same.
func fineColour(k, classes int) string {
	stops := [...][3]float64{{253, 231, 140}, {158, 204, 120}, {64, 160, 140}, {42, 110, 140}, {58, 60, 110}}
	t := float64(float64(k) / float64(max(1, classes-1)) * float64(len(stops)-1))
	i := min(int(t), len(stops)-2)
	t -= float64(i)
	var c [3]int
	for j := range c {
		c[j] = int(math.Round(stops[i][j] + float64(t*(stops[i+1][j]-stops[i][j]))))
	}
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}

// chart draws the map over the outlines of limb and panels, as the finished picture lies.
func (m *fineMap) chart(sc scene) template.HTML {
	if m == nil {
		return ""
	}
	const wide, across = 560.0, 140 // cells of the drawing
	k := wide / float64(sc.Width)
	cell := float64(sc.Width) / across
	down := int(math.Ceil(float64(sc.Height) / cell))
	high := float64(float64(sc.Height) * k)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="map" viewBox="-3 -3 %s %s" role="img" aria-label="Map of the finest detail">`, number(wide+6), number(high+52))
	classes := len(m.edges) + 1
	paths := make([]strings.Builder, classes)
	side := float64(cell * k)
	for j := range down {
		for i := 0; i < across; {
			v := m.at(float64((float64(i)+0.5)*cell)-0.5, float64((float64(j)+0.5)*cell)-0.5)
			from := i
			i++
			if v == 0 {
				continue
			}
			c := m.class(v)
			for i < across {
				if w := m.at(float64((float64(i)+0.5)*cell)-0.5, float64((float64(j)+0.5)*cell)-0.5); w == 0 || m.class(w) != c {
					break
				}
				i++
			}
			fmt.Fprintf(&paths[c], "M%s %sh%sv%sh-%[3]sz", number(float64(from)*side), number(float64(j)*side), number(float64(i-from)*side), number(side))
		}
	}
	clip := ""
	if l := sc.Limb; l != nil {
		clip = ` clip-path="url(#limb)"`
		fmt.Fprintf(&b, `<clipPath id="limb"><circle cx="%s" cy="%s" r="%s"/></clipPath>`, number((l[0]+0.5)*k), number((l[1]+0.5)*k), number(l[2]*k))
	}
	for c := range paths {
		if paths[c].Len() > 0 {
			fmt.Fprintf(&b, `<path shape-rendering="crispEdges"%s fill="%s" d="%s"/>`, clip, fineColour(c, classes), paths[c].String())
		}
	}
	if l := sc.Limb; l != nil {
		fmt.Fprintf(&b, `<circle class="limb" cx="%s" cy="%s" r="%s"/>`, number((l[0]+0.5)*k), number((l[1]+0.5)*k), number(l[2]*k))
	}
	m.legend(&b, wide, high+14)
	return template.HTML(b.String() + "</svg>")
}

// legend is a row of the colours with the periods between them.
func (m *fineMap) legend(b *strings.Builder, wide, y float64) {
	classes := len(m.edges) + 1
	box := min(58, (wide-70)/float64(classes))
	for c := range classes {
		fmt.Fprintf(b, `<rect x="%s" y="%s" width="%s" height="12" fill="%s"/>`, number(float64(c)*box), number(y), number(box), fineColour(c, classes))
		if c > 0 {
			fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="middle">%s%s</text>`, number(float64(c)*box), number(y+31), plain(m.edges[c-1]), m.unit)
		}
	}
	fmt.Fprintf(b, `<text x="%s" y="%s">← finer</text>`, number(float64(float64(classes)*box)+10), number(y+11))
}
