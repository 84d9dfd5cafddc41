package main

import (
	"math"

	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/mosaic/sunlit"
)

// placementsRow is what a watch reads of a mosaic's account of itself.
type placementsRow struct {
	Panels []placedRow `json:"panels"`
	Limb   struct {
		Found  bool    `json:"found"`
		X      float64 `json:"x"`
		Y      float64 `json:"y"`
		Radius float64 `json:"radius_px"`
	} `json:"limb"`
	Scale  float64 `json:"scale_arcsec_per_px"`
	Extent string  `json:"extent"`
	Holes  []struct {
		X     float64 `json:"x"`
		Y     float64 `json:"y"`
		Area  float64 `json:"area_px"`
		Share float64 `json:"share_of_disk_pct"`
	} `json:"holes"`
}

type placedRow struct {
	ID      string  `json:"id"`
	Placed  bool    `json:"placed"`
	X       float64 `json:"x"`
	Y       float64 `json:"y"`
	TurnDeg float64 `json:"turn_deg"`
	Scale   float64 `json:"scale"`
	Factor  float64 `json:"factor"`
	Offset  float64 `json:"offset"`
	Why     string  `json:"why"`
}

// field is a rectangle somewhere on the joined picture: a panel, or one to be shot.
type field struct {
	x, y, turn, scale float64 // of its middle, px of the joined picture; radians; its pixels in those
	w, h              float64 // px of its own
}

func (r placedRow) field(w, h int) field {
	return field{r.X, r.Y, r.TurnDeg * math.Pi / 180, r.Scale, float64(w), float64(h)}
}

// at is where a place of the field, from its first pixel's middle on, lies in the joined picture.
func (f field) at(u, v float64) (x, y float64) {
	sin, cos := portable.Sincos(f.turn)
	u, v = (u-float64((f.w-1)/2))*f.scale, (v-float64((f.h-1)/2))*f.scale
	return f.x + float64(cos*u) - float64(sin*v), f.y + float64(sin*u) + float64(cos*v)
}

// of is the inverse of at.
func (f field) of(x, y float64) (u, v float64) {
	sin, cos := portable.Sincos(f.turn)
	x, y = (x-f.x)/f.scale, (y-f.y)/f.scale
	return float64(cos*x) + float64(sin*y) + float64((f.w-1)/2), float64(cos*y) - float64(sin*x) + float64((f.h-1)/2)
}

func (f field) holds(x, y float64) bool {
	u, v := f.of(x, y)
	return u >= -0.5 && v >= -0.5 && u <= f.w-0.5 && v <= f.h-0.5
}

// corners are the outline, in the joined picture.
func (f field) corners() [4][2]float64 {
	var out [4][2]float64
	for i, c := range [4][2]float64{{-0.5, -0.5}, {f.w - 0.5, -0.5}, {f.w - 0.5, f.h - 0.5}, {-0.5, f.h - 0.5}} {
		out[i][0], out[i][1] = f.at(c[0], c[1])
	}
	return out
}

// chartedPanel is a panel where it lies.
type chartedPanel struct {
	*watchedPanel
	placedRow
	field field
}

// level is a brightness of the panel as the joined picture has it.
func (p *chartedPanel) level(v float64) float64 { return float64(p.Factor*v) + p.Offset }

// chart is a coarse map of the disk: side by side cells over the square about it, each one is step pixels wide.
type chart struct {
	x, y, r float64 // the disk, px of the joined picture
	step    float64
	shown   [chartSide * chartSide]bool
	ground  [chartSide * chartSide]bool // sunlit ground of the disk
	missing [chartSide * chartSide]bool // of that, what no panel shows
	seen    float64                     // share of the sunlit ground that is shown
	sun     sunlit.Part
}

const (
	chartSide   = 210
	chartReach  = 1.05 // radii from the middle
	terminator  = 0.06 // ragged ground along it is not missed: sunlit.Part.Lights
	nearTheLimb = 0.985
	litShare    = 0.03 // of the way from the sky to the brightest ground, from which on ground counts as lit
)

// newChart maps what panels show of a disk.
func newChart(x, y, r float64, panels []*chartedPanel) *chart {
	c := &chart{x: x, y: y, r: r, step: 2 * chartReach * r / chartSide}
	low, high := math.Inf(1), 0.0
	for _, p := range panels {
		low, high = min(low, p.level(p.small.dark)), max(high, p.level(p.small.bright))
	}
	if low > high/3 { // no sky is seen yet
		low = 0
	}
	bright := low + float64(litShare*(high-low))
	var cells []sunlit.Cell
	for i := range c.shown {
		u, v := c.radii(i)
		lit := false
		for _, p := range panels {
			if value := p.shows(c.x+float64(u*r), c.y+float64(v*r)); value == value {
				c.shown[i] = true
				lit = lit || value > bright
			}
		}
		if c.shown[i] && float64(u*u)+float64(v*v) < 0.97*0.97 {
			cells = append(cells, sunlit.Cell{X: u, Y: v, Lit: lit})
		}
	}
	c.sun = sunlit.Fit(cells)
	all, shown := 0, 0
	for i := range c.shown {
		u, v := c.radii(i)
		if float64(u*u)+float64(v*v) >= nearTheLimb*nearTheLimb || !c.sun.Lights(u, v, terminator) {
			continue
		}
		c.ground[i] = true
		all++
		if c.shown[i] {
			shown++
		} else {
			c.missing[i] = true
		}
	}
	c.seen = float64(shown) / float64(max(all, 1))
	return c
}

// shows is the levelled brightness of a place of the joined picture, NaN where the panel does not show it.
func (p *chartedPanel) shows(x, y float64) float64 {
	if !p.field.holds(x, y) {
		return math.NaN()
	}
	u, v := p.field.of(x, y)
	return p.level(float64(p.small.at(u, v)))
}

// radii is the middle of a cell, in radii from the disk's.
func (c *chart) radii(i int) (u, v float64) {
	return (float64(i%chartSide)+0.5)*2*chartReach/chartSide - chartReach, (float64(i/chartSide)+0.5)*2*chartReach/chartSide - chartReach
}

// gap is sunlit ground that hangs together and that no panel shows.
type gap struct {
	u, v     float64 // middle, radii from the disk's
	share    float64 // of the disk
	enclosed bool    // by what is shown
	cells    []int
}

// leastGap is the smallest gap worth a word, in cells, and leastGapPx in pixels of the joined picture, as for a finished
// mosaic's holes.
const (
	leastGap   = 4
	leastGapPx = 100
)

// gaps lists what is missing.
func (c *chart) gaps() []gap {
	outside := plane.Connected(chartSide, chartSide, 0, func(i int) bool { return !c.shown[i] })
	done := [chartSide * chartSide]bool{}
	var out []gap
	for i := range c.missing {
		if !c.missing[i] || done[i] {
			continue
		}
		g := gap{enclosed: true}
		for k, in := range plane.Connected(chartSide, chartSide, i, func(k int) bool { return c.missing[k] }) {
			if in {
				done[k] = true
				u, v := c.radii(k)
				g.u, g.v = g.u+u, g.v+v
				g.cells = append(g.cells, k)
				g.enclosed = g.enclosed && !outside[k]
			}
		}
		n := float64(len(g.cells))
		g.u, g.v, g.share = g.u/n, g.v/n, n*c.step*c.step/(math.Pi*c.r*c.r)
		if n >= leastGap && n*c.step*c.step >= leastGapPx {
			out = append(out, g)
		}
	}
	return out
}
