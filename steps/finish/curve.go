package finish

import (
	"math"

	"plenilune/steps/kernel/srgb"
)

// curve maps light, 0 black and 1 the brightest ground at large, to sRGB values.
//
// Few pixels are brighter than that: the walls of young craters, the rim of the
// limb. They share the top of the scale: above shoulder a rational function with
// the same slope there leads up to white, which is reached at the level most, so
// that nothing is clipped and nothing dims the rest.
//
// On the result u the curve is the rational function y = (1+a)u / (1+au), which
// rises all the way, is 1+a times as steep as a line at black and 1/(1+a) at white,
// and so lifts the terminator while the limb keeps its gradation; a is the shadow
// lift.
type curve struct{ lift, most float64 }

// shoulder is where light begins to be held down.
const shoulder = 0.8

func newCurve(lift, most float64) curve { return curve{lift, math.Max(most, 1)} }

func (c curve) at(u float64) float32 {
	u = c.held(math.Max(0, math.Min(c.most, u)))
	return float32(srgb.Encode(float64((1+c.lift)*u) / (1 + float64(c.lift*u))))
}

// curveSteps is how many straight pieces stand for a curve. It bends most where the
// power law of sRGB begins, its second derivative less than 2400·(1+lift)² there: with a
// usual lift and white the pieces are off by a tenth of a step of 16 bits at most.
const curveSteps = 1 << 16

// curveTable is a curve by straight pieces, many times as fast.
type curveTable struct {
	most, scale float64
	at0         [curveSteps + 2]float32
}

func (c curve) table() *curveTable {
	t := &curveTable{most: c.most, scale: curveSteps / c.most}
	for i := range t.at0 {
		t.at0[i] = c.at(float64(i) / t.scale)
	}
	return t
}

// at is curve.at.
func (t *curveTable) at(u float64) float32 {
	x := float64(min(max(u, 0), t.most) * t.scale)
	i := int(x)
	a, b := t.at0[i], t.at0[i+1]
	return a + float32(float32(x-float64(i))*(b-a))
}

// held brings 0…most into 0…1.
func (c curve) held(u float64) float64 {
	if u <= shoulder || c.most <= 1 {
		return u
	}
	t := (u - shoulder) / (c.most - shoulder)
	b := (c.most-shoulder)/(1-shoulder) - 1
	return math.Min(1, shoulder+float64((1-shoulder)*float64((1+b)*t))/(1+float64(b*t)))
}
