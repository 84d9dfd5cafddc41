package mosaic

import "plenilune/steps/kernel/portable"

// glow is light that one panel has besides the Moon's: moonlight that the air scatters, or a lamp's, which changes over the field. What
// of it is alike all over the panel its level takes away; what is left is taken for a plane,
//
//	U·u + V·v,
//
// in units of white of the panel itself, u and v from its middle in halves of its diagonal (see sensorPlace). It is of the panel, not of the
// telescope: one taken at another minute has another.
type glow struct{ U, V float64 }

func (g glow) at(u, v float64) float64 { return float64(g.U*u) + float64(g.V*v) }

// strength is by how much it rises from the middle to the rim, in units of white.
func (g glow) strength() float64 { return portable.Hypot(g.U, g.V) }

// glows are those of all panels, in panel order; none where no glow was found.
type glows []glow

// of returns the glow of a panel.
func (g glows) of(i int) glow {
	if i < len(g) {
		return g[i]
	}
	return glow{}
}

// takeOut takes the glow out of the pixels of a panel, in place.
func (g glow) takeOut(pix []float32, w, h int) {
	if g == (glow{}) {
		return
	}
	for i := range pix {
		pix[i] -= float32(g.at(sensorPlace(float64(i%w), float64(i/w), w, h)))
	}
}

// evenTies returns ties between panels out of which their glows are taken.
func (g glows) evenTies(ties []toneTie) []toneTie {
	if len(g) == 0 {
		return ties
	}
	out := make([]toneTie, len(ties))
	for k, t := range ties {
		t.VA -= g[t.A].at(t.AU, t.AV)
		t.VB -= g[t.B].at(t.BU, t.BV)
		out[k] = t
	}
	return out
}

// evenSky returns places of bare sky, by panel, out of which the glows are taken.
func (g glows) evenSky(places [][]skyPlace) [][]skyPlace {
	if len(g) == 0 {
		return places
	}
	out := make([][]skyPlace, len(places))
	for i, panel := range places {
		out[i] = make([]skyPlace, len(panel))
		for k, p := range panel {
			p.Value -= g[i].at(p.U, p.V)
			out[i][k] = p
		}
	}
	return out
}
