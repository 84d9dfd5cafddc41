package portable

import "math"

// arcTangents holds atan(k/8) as high and low parts.
var arcTangents = [9][2]float64{
	{0, 0},
	{0x1.fd5ba9aac2f6ep-4, -0x1.cd37686760c17p-59},
	{0x1.f5b75f92c80ddp-3, 0x1.8ab6e3cf7afbdp-57},
	{0x1.6f61941e4def1p-2, -0x1.c63aae6f6e918p-56},
	{0x1.dac670561bb4fp-2, 0x1.a2b7f222f65e2p-56},
	{0x1.1e00babdefeb4p-1, -0x1.928df287a668fp-58},
	{0x1.4978fa3269ee1p-1, 0x1.2419a87f2a458p-56},
	{0x1.700a7c5784634p-1, -0x1.8c34d25aadef6p-56},
	{0x1.921fb54442d18p-1, 0x1.1a62633145c07p-55},
}

// Atan2 returns the angle of the point (x, y) from the x axis in radians,
// -π…π, with the cases of zeros and infinities as math.Atan2 has them; within 1 ulp.
func Atan2(y, x float64) float64 {
	if x != x || y != y {
		return math.NaN()
	}
	ax, ay := math.Abs(x), math.Abs(y)
	if math.IsInf(ax, 1) && math.IsInf(ay, 1) {
		ax, ay = 1, 1
	}
	var h, l float64
	swapped := ay > ax
	if swapped {
		h, l = arc(ax, ay)
	} else {
		h, l = arc(ay, ax)
	}
	// Put the angle of the first octant where it belongs: base ± (h+l).
	baseHigh, baseLow := 0.0, 0.0
	left := math.Signbit(x)
	switch {
	case swapped:
		baseHigh, baseLow = halfPiHigh, halfPiLow
		if !left {
			h, l = -h, -l
		}
	case left:
		baseHigh, baseLow = 2*halfPiHigh, 2*halfPiLow
		h, l = -h, -l
	}
	s, e := plus(baseHigh, h)
	return math.Copysign(s+(e+(baseLow+l)), y)
}

// Atan returns the angle in -π/2…π/2 whose tangent is x; within 1 ulp.
func Atan(x float64) float64 { return Atan2(x, 1) }

// Asin returns the angle in -π/2…π/2 whose sine is x, NaN for |x| > 1; within 2 ulp.
func Asin(x float64) float64 { return Atan2(x, math.Sqrt(float64((1-x)*(1+x)))) }

// Acos returns the angle in 0…π whose cosine is x, NaN for |x| > 1; within 2 ulp.
func Acos(x float64) float64 { return Atan2(math.Sqrt(float64((1-x)*(1+x))), x) }

// arc returns atan(y/x) for 0 ≤ y ≤ x as h+l, not normalised.
func arc(y, x float64) (h, l float64) {
	if y == 0 || math.IsInf(x, 1) {
		return 0, 0
	}
	q := y / x
	if q < 0x1p-30 {
		return 0, q // q³/3 is below the last place
	}
	if x > 0x1p+900 || x < 0x1p-900 {
		_, e := math.Frexp(x)
		x, y = math.Ldexp(x, -e), math.Ldexp(y, -e)
	}
	// atan(y/x) = atan(c) + atan((y-cx)/(x+cy)) with c = k/8 nearest to y/x.
	k := int(float64(q*8) + 0.5)
	c := float64(k) / 8
	xh, xl := split(x)
	t := ((y - float64(c*xh)) - float64(c*xl)) / (x + float64(c*y))
	z := float64(t * t)
	p := 1.0 / 13
	p = 1.0/11 - float64(p*z)
	p = 1.0/9 - float64(p*z)
	p = 1.0/7 - float64(p*z)
	p = 1.0/5 - float64(p*z)
	p = 1.0/3 - float64(p*z)
	return arcTangents[k][0], t + (arcTangents[k][1] - float64(float64(p*z)*t))
}
