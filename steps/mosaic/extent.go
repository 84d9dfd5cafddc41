package mosaic

import (
	"plenilune/steps/mosaic/sunlit"
)

// fitSunlit finds the part of the disk that best explains which shown cells are lit and which are not.
func (c coverage) fitSunlit(g geometry) sunlit.Part {
	var cells []sunlit.Cell
	stride := 1 + max(c.w, c.h)/200
	for y := 0; y < c.h; y += stride {
		for x := 0; x < c.w; x += stride {
			mx, my := c.middle(x, y)
			u, v := (mx-g.Limb.X)/g.Limb.R, (my-g.Limb.Y)/g.Limb.R
			if i := y*c.w + x; c.shown[i] && float64(u*u)+float64(v*v) < 0.97*0.97 {
				cells = append(cells, sunlit.Cell{X: u, Y: v, Lit: c.lit[i]})
			}
		}
	}
	return sunlit.Fit(cells)
}

const (
	// wholeShare is how much of the disk's sunlit ground must be shown for a mosaic to count as a disk without being
	// told: what is missing is then a hole. On simulated nights of a dozen panels, one lost at the limb leaves at least 88 %,
	// mostly more than 92, and half of them, with their overlaps, up to 88. A hole with panels all round is named either way.
	wholeShare = 0.9
	// litMargin keeps the ragged ground along the terminator out of what is missed, in units of sunlit.Part.K.
	litMargin = 0.06
)

// sunlitCells marks the cells of the disk that the Sun lights, and returns the share of them that is shown. Without a
// limb there is no disk.
func (c coverage) sunlitCells(g geometry) (cells []bool, share float64) {
	cells = make([]bool, len(c.shown))
	if !g.Limb.Found {
		return cells, 0
	}
	l := c.fitSunlit(g)
	r := 1 - 2/g.Limb.R
	all, shown := 0, 0
	for i := range c.shown {
		mx, my := c.middle(i%c.w, i/c.w)
		u, v := (mx-g.Limb.X)/g.Limb.R, (my-g.Limb.Y)/g.Limb.R
		if float64(u*u)+float64(v*v) >= r*r || !l.Lights(u, v, litMargin) {
			continue
		}
		all++
		if cells[i] = true; c.shown[i] {
			shown++
		}
	}
	return cells, float64(shown) / float64(max(all, 1))
}
