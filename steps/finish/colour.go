package finish

import (
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/plane"
)

// Weights of red, green and blue in luminance, for the primaries of sRGB (IEC 61966-2-1:1999).
const (
	ofRed   = 0.2126
	ofGreen = 0.7152
	ofBlue  = 0.0722
)

// calmBlur is over how many pixels colours are averaged, a standard deviation, before they are raised: soils differ over many
// pixels, noise from one to the next. The kernel ends at calmReach.
const (
	calmBlur  = 3.0
	calmReach = 12
)

// calmDark is light of no colour that is added where colours are measured, against the brightest ground at large, so that in
// shadows, where there is mostly noise, none is raised.
const calmDark = 0.02

func luminance(r, g, b float32) float32 {
	return float32(ofRed*r) + float32(ofGreen*g) + float32(ofBlue*b)
}

// boost raises the colours of a levelled picture, red, green, blue in linear light, by a factor. Of each pixel the difference from
// grey of its own luminance is taken, averaged over its surroundings as a share of the light, and what the factor adds of it
// is added: luminance stays, and in the plane of chromaticities a colour moves straight away from white, so that its dominant wavelength
// stays (CIE 15). The noise of single pixels is not raised with it.
func boost(m *plane.Image, factor float64) {
	n := m.W * m.H
	blurred := make([][]float32, 3)
	for c, p := range m.Pix {
		blurred[c] = make([]float32, n)
		for i, v := range p {
			if v == v {
				blurred[c][i] = max(v, 0)
			}
		}
		filter.Gaussian(blurred[c], blurred[c], m.W, m.H, calmBlur)
	}
	k := float32(factor - 1)
	red, green, blue := m.Pix[0], m.Pix[1], m.Pix[2]
	for i := range n {
		r, g, b := blurred[0][i], blurred[1][i], blurred[2][i]
		grey := luminance(r, g, b) + calmDark
		own := luminance(red[i], green[i], blue[i]) // NaN where a channel has no data
		add := k * max(own, 0) / grey
		grey -= calmDark
		red[i] += float32(add * (r - grey))
		green[i] += float32(add * (g - grey))
		blue[i] += float32(add * (b - grey))
	}
}
