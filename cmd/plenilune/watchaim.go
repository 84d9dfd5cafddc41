package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plenilune/steps/kernel/portable"
)

// aim is where to point next.
type aim struct {
	field      field
	neighbours []neighbour // the panels that it overlaps, the most first
}

type neighbour struct {
	panel *chartedPanel
	share float64 // of the new field
}

// What a new field must share with shown ground so that it is sure to be joined, and with a panel for that to be worth
// naming, as shares of the field.
const (
	sureOverlap    = 0.2
	leastNeighbour = 0.06
)

// nextAim looks for the field, of the usual size and turn, that shows most of what is missing in those gaps and overlaps enough of
// what is there.
func (c *chart) nextAim(gaps []gap, panels []*chartedPanel) *aim {
	if len(panels) == 0 || len(gaps) == 0 {
		return nil
	}
	wanted := [chartSide * chartSide]bool{}
	for _, g := range gaps {
		for _, k := range g.cells {
			wanted[k] = true
		}
	}
	f := usualField(panels)
	best, most := f, 0.0
	for _, least := range []float64{sureOverlap, sureOverlap / 2, 0} {
		step := min(f.w, f.h) * f.scale / 10
		for y := c.y - float64(1.1*c.r); y <= c.y+float64(1.1*c.r); y += step {
			for x := c.x - float64(1.1*c.r); x <= c.x+float64(1.1*c.r); x += step {
				f.x, f.y = x, y
				if worth, overlap := c.worth(f, &wanted); worth > most && overlap >= least {
					best, most = f, worth
				}
			}
		}
		if most > 0 {
			break
		}
	}
	if most == 0 {
		return nil
	}
	return &aim{best, neighboursOf(best, panels)}
}

// worth is how much of what is wanted a field shows, less for being far off its middle, and what share of the field shows
// ground that is shown already.
func (c *chart) worth(f field, wanted *[chartSide * chartSide]bool) (worth, overlap float64) {
	n, got, shared := 0, 0, 0
	var u, v float64
	cells := max(1, c.step/f.scale)
	for y := cells / 2; y < f.h; y += cells {
		for x := cells / 2; x < f.w; x += cells {
			n++
			k, ok := c.cell(f.at(x, y))
			switch {
			case !ok:
			case wanted[k]:
				got++
				u, v = u+x, v+y
			case c.shown[k] && c.ground[k]:
				shared++
			}
		}
	}
	if got == 0 {
		return 0, 0
	}
	off := portable.Hypot(u/float64(got)/f.w-0.5, v/float64(got)/f.h-0.5)
	return float64(got) * (1 - float64(off/4)), float64(shared) / float64(n)
}

// cell is the cell at a place of the joined picture.
func (c *chart) cell(x, y float64) (int, bool) {
	i, j := int(math.Floor((x-c.x+float64(chartReach*c.r))/c.step)), int(math.Floor((y-c.y+float64(chartReach*c.r))/c.step))
	return j*chartSide + i, i >= 0 && j >= 0 && i < chartSide && j < chartSide
}

// usualField has the middle size and turn of the panels.
func usualField(panels []*chartedPanel) field {
	all := slices.Clone(panels)
	slices.SortStableFunc(all, func(a, b *chartedPanel) int {
		return cmp.Compare(a.field.w*a.field.h*a.field.scale*a.field.scale, b.field.w*b.field.h*b.field.scale*b.field.scale)
	})
	return all[len(all)/2].field
}

// neighboursOf are the panels that a field overlaps.
func neighboursOf(f field, panels []*chartedPanel) []neighbour {
	const side = 24
	var out []neighbour
	for _, p := range panels {
		n := 0
		for k := range side * side {
			x, y := f.at((float64(k%side)+0.5)/side*f.w, (float64(k/side)+0.5)/side*f.h)
			if p.field.holds(x, y) {
				n++
			}
		}
		if share := float64(n) / (side * side); share >= leastNeighbour {
			out = append(out, neighbour{p, share})
		}
	}
	slices.SortStableFunc(out, func(a, b neighbour) int { return cmp.Compare(b.share, a.share) })
	return out
}

// placeWords says where on the disk, as the picture shows it, a place in radii from its middle lies.
func placeWords(u, v float64) string {
	d := portable.Hypot(u, v)
	if d < 0.25 {
		return "near the disk's middle"
	}
	way := wayWords(u, v)
	switch {
	case d < 0.7:
		return "half-way to the " + way + " edge"
	default:
		return "at the " + way + " edge"
	}
}

// wayWords names one of eight directions.
func wayWords(x, y float64) string {
	names := []string{"right", "lower right", "lower", "lower left", "left", "upper left", "upper", "upper right"}
	return names[(int(math.Round(portable.Atan2(y, x)/(math.Pi/4)))+8)%8]
}

// offsetWords tells an offset to the right and down in a unit.
func offsetWords(x, y float64, digits int, unit string) string {
	var out []string
	for _, a := range []struct {
		v           float64
		plus, minus string
	}{{x, "right", "left"}, {y, "down", "up"}} {
		if n := fmt.Sprintf("%.*f", digits, math.Abs(a.v)); strings.Trim(n, "0.") != "" {
			side := a.plus
			if a.v < 0 {
				side = a.minus
			}
			out = append(out, n+unit+" "+side)
		}
	}
	if len(out) == 0 {
		return "0" + unit
	}
	return strings.Join(out, ", ")
}
