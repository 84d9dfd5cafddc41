package mosaic

import (
	"math"
	"slices"
)

// voice is what each pixel of a panel has to say against other panels.
type voice struct {
	w, h  int
	far   []uint16 // distance to the next border or hole in 1/farUnit pixels; 0: a hole
	stack []uint8  // the stack's own weight, 0…255
	wide  float32  // pixels over which the broad picture gains its full say
}

const farUnit = 32

// voiceOf reads a panel's voice off one of its channels, the share of its frames that show each place, and the share of
// those that are overexposed there.
func voiceOf(v, weight, full []float32, w, h int) voice {
	mask, _ := maskOf(v)
	s := voice{w, h, make([]uint16, w*h), make([]uint8, w*h), float32(min(w, h)) / 6}
	sound := soundness(full, w, h)
	for i, d := range distance(mask, w, h) {
		if mask[i] == 0 {
			continue
		}
		s.far[i] = uint16(min(d*farUnit, math.MaxUint16))
		k := float32(1)
		if v := weight[i]; v == v {
			k = min(max(v, 0), 1)
		}
		if sound != nil {
			k *= sound[i]
		}
		s.stack[i] = uint8(math.Round(float64(255 * k)))
	}
	return s
}

const (
	// fullSay is what ground counts that is overexposed in most frames: nothing to speak of beside a darker take, but enough
	// that of several such takes none begins with a step.
	fullSay = 0.02
	// fullFade is over how many pixels around it a panel gains its full say, so that the darker take does not begin
	// with a step either.
	fullFade = 32
)

// soundness is how far each pixel of a panel can be believed beside a darker take, fullSay…1; nil if all can.
func soundness(full []float32, w, h int) []float32 {
	any := false
	for _, f := range full {
		any = any || f > 0
	}
	if !any {
		return nil
	}
	const rim = fullFade // what lies outside is not overexposed
	mw := w + 2*rim
	mask := slices.Repeat([]float32{1}, mw*(h+2*rim))
	for i, f := range full {
		if f > 0.5 {
			mask[(i/w+rim)*mw+i%w+rim] = 0
		}
	}
	apart := distance(mask, mw, h+2*rim)
	out := make([]float32, w*h)
	for i, f := range full {
		out[i] = fullSay
		if d := apart[(i/w+rim)*mw+i%w+rim]; d > 0 {
			u := min(1, d/fullFade)
			out[i] += float32((1 - f - fullSay) * float32(float32(u*u)*(3-float32(2*u))))
		}
	}
	return out
}

// at interpolates distance in pixels and weight at a place; far is 0 beside a hole and outside.
func (s *voice) at(u, v float64) (far, weight float32) {
	right, low := float64(s.w-1), float64(s.h-1)
	if !(u > -rounding && v > -rounding && u < right+rounding && v < low+rounding) {
		return 0, 0
	}
	u, v = min(max(u, 0), right), min(max(v, 0), low)
	fu, fv := math.Floor(u), math.Floor(v)
	i := int(fv)*s.w + int(fu)
	next, below := 1, s.w // the neighbour, or at the last column and row the pixel itself
	if fu == right {
		next = 0
	}
	if fv == low {
		below = 0
	}
	a, b, c, d := s.far[i], s.far[i+next], s.far[i+below], s.far[i+below+next]
	if a == 0 || b == 0 || c == 0 || d == 0 {
		return 0, 0
	}
	x, y := float32(u-fu), float32(v-fv)
	far = mix(float32(a), float32(b), float32(c), float32(d), x, y) / farUnit
	k, l := s.stack[i:], s.stack[i+below:]
	return far, mix(float32(k[0]), float32(k[next]), float32(l[0]), float32(l[next]), x, y) / 255
}

func mix(a, b, c, d, x, y float32) float32 {
	top := a + float32(x*(b-a))
	low := c + float32(x*(d-c))
	return top + float32(y*(low-top))
}

// leastSay keeps a pixel that no other panel shows from being nothing.
const leastSay = 1.0 / 255

// say is a panel's say at a distance from its border: none there, smoothly rising to weight.
func say(far, weight, reach float32) float32 {
	f := min(1, far/reach)
	f *= f * (3 - float32(2*f))
	return max(leastSay, f*weight)
}
