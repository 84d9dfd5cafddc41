// Package sunlit finds which part of the Moon's disk the Sun lights, from which places of it are lit.
package sunlit

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Part says which part of the disk the Sun lights. In radii from the disk's middle, with s towards the Sun and t across,
// ground is lit where s > K·√(1 − t²): the terminator is half an ellipse, and K is minus the cosine of the phase angle
// (Meeus 1998, chapter 48). K = −1, the zero of knowledge, is a full Moon.
type Part struct{ UX, UY, K float64 }

// Cell is a place of the disk, in radii from its middle, that was seen to be lit or not.
type Cell struct {
	X, Y float64
	Lit  bool
}

// Lights tells whether ground at (x, y), in radii from the middle, is lit by more than a margin, in units of K.
func (l Part) Lights(x, y, margin float64) bool {
	s, t := float64(l.UX*x)+float64(l.UY*y), float64(l.UX*y)-float64(l.UY*x)
	return s > float64((l.K+margin)*math.Sqrt(max(0, 1-float64(t*t))))
}

// Fit finds the part of the disk that best explains which cells are lit and which are not, to 5° of direction and 0.02 of K.
// Where nothing dark is seen the disk counts as full.
func Fit(cells []Cell) Part {
	dark := 0
	for _, c := range cells {
		if !c.Lit {
			dark++
		}
	}
	const turns, bins = 72, 100
	best := Part{UX: 1, K: -1}
	most := len(cells) - dark + len(cells)/100 // a model that explains no more than shadows do is not believed
	for a := range turns {
		sin, cos := portable.Sincos(2 * math.Pi * float64(a) / turns)
		var lit, unlit [bins + 1]int
		for _, p := range cells {
			s, t := float64(cos*p.X)+float64(sin*p.Y), float64(cos*p.Y)-float64(sin*p.X)
			q := s / math.Sqrt(max(1e-6, 1-float64(t*t)))
			k := int(min(max((q+1)/2*bins, 0), bins))
			if p.Lit {
				lit[k]++
			} else {
				unlit[k]++
			}
		}
		agree := len(cells) - dark // with everything lit
		for k := range bins {
			if agree += unlit[k] - lit[k]; agree > most {
				most, best = agree, Part{cos, sin, 2*float64(k+1)/bins - 1}
			}
		}
	}
	return best
}
