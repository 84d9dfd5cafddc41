package finish

import (
	"math"

	"plenilune/steps/kernel/srgb"
)

// toneSteps is fine enough for straight pieces between: the sRGB curve bends most where its own straight piece ends, by 2,400 for a
// range of 1, so that for one of 6 they are off by 6²·2400/8/131072² = 6e-7 there, a 25th of a step of 16 bits.
const toneSteps = 1 << 17

// tones is a curve as a table, for whole pictures.
type tones struct {
	curve curve
	shown []float32 // sRGB of evenly spaced light from 0 to the curve's most
	risen []float32 // the linear light that is shown for it
	srgb  []float32 // sRGB of 0…1
}

func newTones(c curve, colour bool) *tones {
	t := &tones{curve: c}
	if !colour {
		t.shown = table(func(u float64) float64 { return float64(c.at(float64(c.most * u))) })
		return t
	}
	t.risen = table(func(u float64) float64 { return c.light(float64(c.most * u)) })
	t.srgb = table(srgb.Encode)
	return t
}

// table holds a function over 0…1.
func table(f func(u float64) float64) []float32 {
	out := make([]float32, toneSteps+2)
	for i := range out {
		out[i] = float32(f(min(1, float64(i)/toneSteps)))
	}
	return out
}

// straight reads a table at v of most.
func straight(table []float32, v, most float32) float32 {
	at := float32(v / most * toneSteps)
	i := int(at)
	return table[i] + float32((at-float32(i))*(table[i+1]-table[i]))
}

// apply turns levelled light into sRGB values.
func (t *tones) apply(pix [][]float32) {
	if len(pix) == 3 {
		t.applyColour(pix)
		return
	}
	most := float32(t.curve.most)
	for _, p := range pix {
		for i, v := range p {
			if v == v {
				p[i] = straight(t.shown, max(0, min(most, v)), most)
			}
		}
	}
}

// applyColour brings each pixel's luminance onto the curve and keeps the ratios of its channels, so that no hue turns; what would
// be brighter than white in one channel is paled towards grey of the same luminance.
func (t *tones) applyColour(pix [][]float32) {
	red, green, blue := pix[0], pix[1], pix[2]
	most := float32(t.curve.most)
	for i := range red {
		r, g, b := max(red[i], 0), max(green[i], 0), max(blue[i], 0)
		y := luminance(red[i], green[i], blue[i])
		if y != y {
			red[i], green[i], blue[i] = nan, nan, nan
			continue
		}
		if y = luminance(r, g, b); y <= 0 {
			red[i], green[i], blue[i] = 0, 0, 0
			continue
		}
		to := straight(t.risen, min(y, most), most)
		k := to / y
		r, g, b = float32(r*k), float32(g*k), float32(b*k)
		if top := max(r, g, b); top > 1 {
			pale := (1 - to) / (top - to)
			r, g, b = to+float32(pale*(r-to)), to+float32(pale*(g-to)), to+float32(pale*(b-to))
		}
		red[i], green[i], blue[i] = straight(t.srgb, min(r, 1), 1), straight(t.srgb, min(g, 1), 1), straight(t.srgb, min(b, 1), 1)
	}
}

var nan = float32(math.NaN())
