package mosaic

import (
	"math"
)

// hole is lit ground, or an enclosed gap, that no panel shows.
type hole struct {
	X     float64 `json:"x"` // middle, px of the joined picture
	Y     float64 `json:"y"`
	Area  float64 `json:"area_px"`
	Share float64 `json:"share_of_disk_pct"` // 0 without a limb
}

// coverage is a coarse map of what is shown: one cell is step by step pixels.
type coverage struct {
	w, h, step int
	shown, lit []bool
}

// coverageOf looks at the middle of every cell.
func coverageOf(g geometry, ps []panel, lv []level) coverage {
	c := coverage{step: 1 + max(g.Width, g.Height)/1000}
	// A rim of one cell all round belongs to the outside.
	c.w, c.h = g.Width/c.step+3, g.Height/c.step+3
	c.shown, c.lit = make([]bool, c.w*c.h), make([]bool, c.w*c.h)
	inverse := make([]similarity, len(ps))
	var low, high float64
	for i, p := range g.Panels {
		if p.Placed {
			inverse[i] = p.toMosaic().inverse()
			r := rangeOf(ps[i].v, ps[i].w, ps[i].h)
			high = max(high, float64(lv[i].Factor*r.Bright)+lv[i].Offset)
			if s := float64(lv[i].Factor*r.Sky) + lv[i].Offset; low == 0 || s < low {
				low = s
			}
		}
	}
	for y := range c.h {
		for x := range c.w {
			mx, my := c.middle(x, y)
			for i, p := range g.Panels {
				if !p.Placed {
					continue
				}
				u, v := inverse[i].at(mx, my)
				k, ok := ps[i].nearest(u, v)
				if !ok {
					continue
				}
				c.shown[y*c.w+x] = true
				if float64(lv[i].Factor*k)+lv[i].Offset > low+float64(0.03*(high-low)) {
					c.lit[y*c.w+x] = true
				}
				break
			}
		}
	}
	return c
}

func (c coverage) middle(x, y int) (float64, float64) {
	return float64((x-1)*c.step) + float64(float64(c.step-1)/2), float64((y-1)*c.step) + float64(float64(c.step-1)/2)
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

// holes returns the gaps: those enclosed by what is shown, and on a disk also those inside the limb that border
// on lit ground. What is missing on the dark side is no hole.
func (c coverage) holes(g geometry, disk bool) []hole {
	outside := c.spread(func(i int) bool { return !c.shown[i] }, 0)
	inside := make([]bool, len(c.shown))
	for y := range c.h {
		for x := range c.w {
			mx, my := c.middle(x, y)
			dx, dy := mx-g.Limb.X, my-g.Limb.Y
			inside[y*c.w+x] = g.Limb.Found && math.Sqrt(float64(dx*dx)+float64(dy*dy)) < g.Limb.R-2
		}
	}
	done := make([]bool, len(c.shown))
	var out []hole
	for i := range c.shown {
		if c.shown[i] || done[i] {
			continue
		}
		enclosed := !outside[i]
		if !enclosed && !(disk && inside[i]) {
			continue
		}
		member := func(k int) bool { return !c.shown[k] && outside[k] == outside[i] && (enclosed || inside[k]) }
		part := c.spread(member, i)
		h, lit, rim := hole{}, 0, 0
		n := 0
		for k, in := range part {
			if !in {
				continue
			}
			done[k] = true
			x, y := c.middle(k%c.w, k/c.w)
			h.X, h.Y = h.X+x, h.Y+y
			n++
			for _, q := range [4]int{k - 1, k + 1, k - c.w, k + c.w} {
				if c.shown[q] && (enclosed || inside[q]) {
					rim++
					if c.lit[q] {
						lit++
					}
				}
			}
		}
		h.X, h.Y, h.Area = h.X/float64(n), h.Y/float64(n), float64(n*c.step*c.step)
		if g.Limb.Found {
			h.Share = 100 * h.Area / (math.Pi * g.Limb.R * g.Limb.R)
		}
		if h.Area >= leastHole && (enclosed || 5*lit >= rim) {
			out = append(out, h)
		}
	}
	return out
}

// spread returns the cells that hang together with the first one through members.
func (c coverage) spread(member func(i int) bool, first int) []bool {
	got := make([]bool, len(c.shown))
	if !member(first) {
		return got
	}
	got[first] = true
	for todo := []int{first}; len(todo) > 0; {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		x, y := i%c.w, i/c.w
		for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			u, v := x+d[0], y+d[1]
			if u < 0 || v < 0 || u >= c.w || v >= c.h {
				continue
			}
			if k := v*c.w + u; !got[k] && member(k) {
				got[k] = true
				todo = append(todo, k)
			}
		}
	}
	return got
}
