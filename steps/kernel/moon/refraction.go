package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Refraction returns by how many degrees the air lifts what stands at a true altitude of −1…90°: Saemundsson (1986), Sky and
// Telescope 72:70, at 1010 hPa and 10 °C; it follows Bennett's formula within 0.1′.
func Refraction(trueDeg float64) float64 {
	a := (trueDeg + 10.3/(trueDeg+5.11)) * degree
	return 1.02 / 60 * portable.Cos(a) / portable.Sin(a)
}

// Unrefraction returns by how many degrees the air has lifted what is seen at an apparent altitude of 0…90°: Bennett
// (1982), Journal of Navigation 35:255, good to 0.07′.
func Unrefraction(apparentDeg float64) float64 {
	a := (apparentDeg + 7.31/(apparentDeg+4.4)) * degree
	return 1.0 / 60 * portable.Cos(a) / portable.Sin(a)
}

// Flattening returns by how much of themselves small upright lengths shrink in the air at a true altitude of −1…90°: minus the slope of
// Refraction. Level lengths shrink by 0.0003 at every altitude, as all do at the zenith.
func Flattening(trueDeg float64) float64 {
	h := trueDeg + 5.11
	s := portable.Sin((trueDeg + 10.3/h) * degree)
	return max(0, 1.02/60*degree/float64(s*s)*(1-10.3/float64(h*h)))
}

// AirMass returns the way of light through the air at an apparent altitude of 0…90°, in units of that from the zenith: Kasten & Young
// (1989), Applied Optics 28:4735.
func AirMass(apparentDeg float64) float64 {
	return 1 / (portable.Sin(math.Min(apparentDeg, 90)*degree) + float64(0.50572*portable.Pow(apparentDeg+6.07995, -1.6364)))
}
