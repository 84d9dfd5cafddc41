package mosaic

import (
	"math"

	"plenilune/steps/kernel/plane"
)

// HoleCode is the code of the warning of a hole.
const HoleCode = "hole"

// hole is lit ground, or an enclosed gap, that no panel shows.
type hole struct {
	X     float64 `json:"x"` // middle, px of the joined picture
	Y     float64 `json:"y"`
	Area  float64 `json:"area_px"`
	Share float64 `json:"share_of_disk_pct"` // 0 without a limb
}

// coverage is a coarse map of what is shown: one cell is step by step pixels, the first one's corner lies at (x0, y0).
type coverage struct {
	x0, y0     int
	w, h, step int
	shown, lit []bool
	sound      []bool // shown by a panel that is not overexposed there
}

// mapFor lays out a map of the picture and of the whole disk, as far as that lies within a picture's size of it: the limb
// of a short arc may be anywhere. A rim of one cell all round belongs to the outside.
func mapFor(g geometry) coverage {
	x0, y0, x1, y1 := 0.0, 0.0, float64(g.Width), float64(g.Height)
	if l := g.Limb; l.Found {
		w, h := x1, y1
		x0, y0 = min(x0, max(l.X-l.R, -w)), min(y0, max(l.Y-l.R, -h))
		x1, y1 = max(x1, min(l.X+l.R, 2*w)), max(y1, min(l.Y+l.R, 2*h))
	}
	c := coverage{x0: int(math.Floor(x0)), y0: int(math.Floor(y0))}
	w, h := int(math.Ceil(x1))-c.x0, int(math.Ceil(y1))-c.y0
	c.step = 1 + max(w, h)/1000
	c.x0, c.y0 = c.x0-c.step, c.y0-c.step
	c.w, c.h = w/c.step+3, h/c.step+3
	c.shown, c.lit, c.sound = make([]bool, c.w*c.h), make([]bool, c.w*c.h), make([]bool, c.w*c.h)
	return c
}

// glimpse is what one panel shows at the middles of the cells of a rectangle of a map, NaN where nothing, and its tones.
type glimpse struct {
	x0, y0, w, h int
	v            []float32
	full         []bool // there it is overexposed in most frames
	tones        tonalRange
}

// glimpse looks at a panel, and at where it is overexposed, at the middle of every cell.
func (c coverage) glimpse(p, full panel, m mapping, tones tonalRange) glimpse {
	x0, y0, x1, y1 := m.bounds(p.w, p.h)
	cell := func(v float64, from, n int) int {
		return min(max(int(math.Floor((v-float64(from))/float64(c.step))), 0), n-1)
	}
	g := glimpse{x0: cell(x0-1, c.x0, c.w), y0: cell(y0-1, c.y0, c.h), tones: tones}
	g.w, g.h = cell(x1+1, c.x0, c.w)-g.x0+1, cell(y1+1, c.y0, c.h)-g.y0+1
	for y := range g.h {
		for x := range g.w {
			u, v := m.pixel(c.middle(g.x0+x, g.y0+y))
			k, ok := p.nearest(u, v)
			if !ok {
				k = math.NaN()
			}
			f, _ := full.nearest(u, v)
			g.v, g.full = append(g.v, float32(k)), append(g.full, f > 0.5)
		}
	}
	return g
}

// fill marks what panels show and what of it is lit, by their brightness as it is levelled.
func (c coverage) fill(seen []tonesSeen, lv []level) {
	var low, high float64
	for i, s := range seen {
		if g := s.glimpse; s.placed {
			high = max(high, float64(lv[i].Factor*g.tones.Bright)+lv[i].Offset)
			if s := float64(lv[i].Factor*g.tones.Sky) + lv[i].Offset; low == 0 || s < low {
				low = s
			}
		}
	}
	for i, s := range seen {
		g := s.glimpse
		for k, v := range g.v {
			at := (g.y0+k/g.w)*c.w + g.x0 + k%g.w
			c.sound[at] = c.sound[at] || v == v && !g.full[k]
			if v != v || c.shown[at] {
				continue
			}
			c.shown[at] = true
			c.lit[at] = float64(lv[i].Factor*float64(v))+lv[i].Offset > low+float64(0.03*(high-low))
		}
	}
}

// overexposed is the share of the lit cells that no panel shows soundly, 0…1.
func (c coverage) overexposed() float64 {
	lit, lost := 0, 0
	for i, l := range c.lit {
		if l {
			if lit++; !c.sound[i] {
				lost++
			}
		}
	}
	return float64(lost) / float64(max(lit, 1))
}

func (c coverage) middle(x, y int) (float64, float64) {
	half := float64(float64(c.step-1) / 2)
	return float64(c.x0+x*c.step) + half, float64(c.y0+y*c.step) + half
}

func (p panel) nearest(x, y float64) (float64, bool) {
	ix, iy := int(math.Round(x)), int(math.Round(y))
	if ix < 0 || iy < 0 || ix >= p.w || iy >= p.h {
		return 0, false
	}
	v := p.v[iy*p.w+ix]
	return float64(v), v == v
}

// leastHole is the smallest area that is worth a word, in pixels of the joined picture.
const leastHole = 100

// holes returns the gaps: those enclosed by what is shown, and on a disk also sunlit ground inside the limb. Neither counts
// unless ground at its border is lit: what is missing on the dark side, or of the sky, is no hole.
func (c coverage) holes(g geometry, sunlit []bool, disk bool) []hole {
	outside := plane.Connected(c.w, c.h, 0, func(i int) bool { return !c.shown[i] })
	ground := c.onDisk(g)
	done := make([]bool, len(c.shown))
	var out []hole
	for i := range c.shown {
		enclosed := !outside[i] && ground[i]
		if c.shown[i] || done[i] || !enclosed && !(disk && sunlit[i]) {
			continue
		}
		member := func(k int) bool {
			return !c.shown[k] && outside[k] == outside[i] && ground[k] && (enclosed || sunlit[k])
		}
		part := plane.Connected(c.w, c.h, i, member)
		for k, in := range part {
			done[k] = done[k] || in
		}
		h, lit, rim := c.outline(part, ground)
		if g.Limb.Found {
			h.Share = 100 * h.Area / (math.Pi * g.Limb.R * g.Limb.R)
		}
		if h.Area >= leastHole && rim > 0 && 5*lit >= rim {
			out = append(out, h)
		}
	}
	return out
}

// onDisk marks the cells inside the limb, or all if there is none.
func (c coverage) onDisk(g geometry) []bool {
	in := make([]bool, len(c.shown))
	for y := range c.h {
		for x := range c.w {
			mx, my := c.middle(x, y)
			dx, dy := mx-g.Limb.X, my-g.Limb.Y
			in[y*c.w+x] = !g.Limb.Found || math.Sqrt(float64(dx*dx)+float64(dy*dy)) < g.Limb.R-2
		}
	}
	return in
}

// outline measures a connected gap, and how many of the shown cells of ground around it are lit.
func (c coverage) outline(part, ground []bool) (h hole, lit, rim int) {
	n := 0
	for k, in := range part {
		if !in {
			continue
		}
		x, y := c.middle(k%c.w, k/c.w)
		h.X, h.Y = h.X+x, h.Y+y
		n++
		for _, q := range [4]int{k - 1, k + 1, k - c.w, k + c.w} {
			if q >= 0 && q < len(c.shown) && c.shown[q] && ground[q] {
				rim++
				if c.lit[q] {
					lit++
				}
			}
		}
	}
	h.X, h.Y, h.Area = h.X/float64(n), h.Y/float64(n), float64(n*c.step*c.step)
	return h, lit, rim
}
