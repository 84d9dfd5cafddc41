package finish

import (
	"math"

	"plenilune/steps/kernel/srgb"
)

// curve maps light, 0 black and 1 white, to sRGB values. On light u it is the
// rational function y = (1+a)u / (1+au), which rises all the way, is 1+a times as
// steep as a line at black and 1/(1+a) at white, and so lifts the terminator while
// the limb keeps its gradation; a is the shadow lift.
type curve struct{ lift float64 }

func newCurve(lift float64) curve { return curve{lift} }

func (c curve) at(u float64) float32 {
	u = math.Max(0, math.Min(1, u))
	return float32(srgb.Encode(float64((1+c.lift)*u) / (1 + float64(c.lift*u))))
}
