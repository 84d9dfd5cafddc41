// Package warp moves pictures: affine maps, interpolation kernels, resampling.
//
// Coordinates are in pixels, centres at integers, x right and y down; a
// positive angle turns x towards y.
package warp

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Affine maps (x, y) to (a0·x + a1·y + a2, a3·x + a4·y + a5). The zero value
// maps all to the origin; Identity leaves all in place.
type Affine [6]float64

// Identity returns the map that leaves all in place.
func Identity() Affine { return Affine{1, 0, 0, 0, 1, 0} }

// Translation returns the map that adds (tx, ty).
func Translation(tx, ty float64) Affine { return Affine{1, 0, tx, 0, 1, ty} }

// Similarity returns the map that scales, turns by rad about the origin, and
// then adds (tx, ty).
func Similarity(scale, rad, tx, ty float64) Affine {
	s, c := portable.Sincos(rad)
	s, c = float64(s*scale), float64(c*scale)
	return Affine{c, -s, tx, s, c, ty}
}

// Apply returns where a takes (x, y).
func (a Affine) Apply(x, y float64) (float64, float64) {
	return float64(a[0]*x) + float64(a[1]*y) + a[2],
		float64(a[3]*x) + float64(a[4]*y) + a[5]
}

// Mul returns the map that does b first and then a.
func (a Affine) Mul(b Affine) Affine {
	x, y := a.Apply(b[2], b[5])
	return Affine{
		float64(a[0]*b[0]) + float64(a[1]*b[3]), float64(a[0]*b[1]) + float64(a[1]*b[4]), x,
		float64(a[3]*b[0]) + float64(a[4]*b[3]), float64(a[3]*b[1]) + float64(a[4]*b[4]), y,
	}
}

// Det returns the factor by which a changes areas, negative for a mirror image.
func (a Affine) Det() float64 { return float64(a[0]*a[4]) - float64(a[1]*a[3]) }

// Invert returns the map that undoes a; ok is false if there is none.
func (a Affine) Invert() (inv Affine, ok bool) {
	d := a.Det()
	if d == 0 || d != d || math.IsInf(d, 0) {
		return Affine{}, false
	}
	inv = Affine{a[4] / d, -a[1] / d, 0, -a[3] / d, a[0] / d, 0}
	x, y := inv.Apply(a[2], a[5])
	inv[2], inv[5] = -x, -y
	return inv, true
}

// Scale returns the square root of |Det|.
func (a Affine) Scale() float64 { return math.Sqrt(math.Abs(a.Det())) }

// Angle returns the turn of the x axis in radians.
func (a Affine) Angle() float64 { return portable.Atan2(a[3], a[0]) }

// IsTranslation tells whether a only adds.
func (a Affine) IsTranslation() bool {
	return a[0] == 1 && a[1] == 0 && a[3] == 0 && a[4] == 1
}
