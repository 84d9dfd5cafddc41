package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// sunlit says which part of the disk the Sun lights. In radii from the disk's middle, with s towards the Sun and t across,
// ground is lit where s > K·√(1 − t²): the terminator is half an ellipse, and K is minus the cosine of the phase angle
// (Meeus 1998, chapter 48). K = −1, the zero of knowledge, is a full Moon.
type sunlit struct{ UX, UY, K float64 }

// lights tells whether ground at (x, y), in radii from the middle, is lit by more than a margin.
func (l sunlit) lights(x, y, margin float64) bool {
	s, t := float64(l.UX*x)+float64(l.UY*y), float64(l.UX*y)-float64(l.UY*x)
	return s > float64((l.K+margin)*math.Sqrt(max(0, 1-float64(t*t))))
}

// fitSunlit finds the part of the disk that best explains which shown cells are lit and which are not. Where nothing dark
// is shown the disk counts as full.
func (c coverage) fitSunlit(g geometry) sunlit {
	type cell struct {
		x, y float64
		lit  bool
	}
	var cells []cell
	stride := 1 + max(c.w, c.h)/200
	dark := 0
	for y := 0; y < c.h; y += stride {
		for x := 0; x < c.w; x += stride {
			mx, my := c.middle(x, y)
			u, v := (mx-g.Limb.X)/g.Limb.R, (my-g.Limb.Y)/g.Limb.R
			if i := y*c.w + x; c.shown[i] && float64(u*u)+float64(v*v) < 0.97*0.97 {
				cells = append(cells, cell{u, v, c.lit[i]})
				if !c.lit[i] {
					dark++
				}
			}
		}
	}
	const turns, bins = 72, 100
	best := sunlit{UX: 1, K: -1}
	most := len(cells) - dark + len(cells)/100 // a model that explains no more than shadows do is not believed
	for a := range turns {
		sin, cos := portable.Sincos(2 * math.Pi * float64(a) / turns)
		var lit, unlit [bins + 1]int
		for _, p := range cells {
			s, t := float64(cos*p.x)+float64(sin*p.y), float64(cos*p.y)-float64(sin*p.x)
			q := s / math.Sqrt(max(1e-6, 1-float64(t*t)))
			k := int(min(max((q+1)/2*bins, 0), bins))
			if p.lit {
				lit[k]++
			} else {
				unlit[k]++
			}
		}
		agree := len(cells) - dark // with everything lit
		for k := range bins {
			if agree += unlit[k] - lit[k]; agree > most {
				most, best = agree, sunlit{cos, sin, 2*float64(k+1)/bins - 1}
			}
		}
	}
	return best
}

const (
	// wholeShare is how much of the disk's sunlit ground must be shown for a mosaic to count as a disk without being
	// told: what is missing is then a hole. On simulated nights of a dozen panels, one lost at the limb leaves at least 88 %,
	// mostly more than 92, and half of them, with their overlaps, up to 88. A hole with panels all round is named either way.
	wholeShare = 0.9
	// litMargin keeps the ragged ground along the terminator out of what is missed, in units of sunlit.K.
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
		if float64(u*u)+float64(v*v) >= r*r || !l.lights(u, v, litMargin) {
			continue
		}
		all++
		if cells[i] = true; c.shown[i] {
			shown++
		}
	}
	return cells, float64(shown) / float64(max(all, 1))
}
