// Package portable holds the elementary functions whose results are the same
// to the last bit on every architecture.
//
// Package math has assembly for some of them on some machines, and the
// compiler may fuse a product and a sum where the machine can; both change
// last bits. Here every product is rounded by itself, and the series are the
// plain Taylor series of the functions on short intervals, so that the error
// bounds can be read off: each function's comment states the bound that the
// tests hold it to, in units in the last place (ulp) of the result.
package portable

import "math"

// Hypot returns √(x²+y²) without overflow or underflow on the way; within 1 ulp.
func Hypot(x, y float64) float64 {
	x, y = math.Abs(x), math.Abs(y)
	switch {
	case math.IsInf(x, 1) || math.IsInf(y, 1):
		return math.Inf(1)
	case x != x || y != y:
		return math.NaN()
	}
	if x < y {
		x, y = y, x
	}
	if x == 0 {
		return 0
	}
	if x < 0x1p+500 && y > 0x1p-450 {
		return root(x, y)
	}
	// A power of two brings x near 1 exactly, and the result back.
	_, e := math.Frexp(x)
	return math.Ldexp(root(math.Ldexp(x, -e), math.Ldexp(y, -e)), e)
}

// root returns √(x²+y²) for x > 0.
func root(x, y float64) float64 {
	xx, xe := square(x)
	yy, ye := square(y)
	h := math.Sqrt(xx + yy)
	hh, he := square(h)
	// What rounding lost of the sum and of the root, to first order.
	return h - float64(0.5*(((hh-xx)-yy)+((he-xe)-ye)))/h
}

// Cbrt returns the cube root of x; within 1 ulp, and Cbrt(-x) = -Cbrt(x).
func Cbrt(x float64) float64 {
	if x == 0 || x != x || math.IsInf(x, 0) {
		return x
	}
	f, e := math.Frexp(math.Abs(x))
	for e%3 != 0 {
		f, e = f/2, e+1
	}
	// f is in [1/8, 1): start on the chord and close in by Halley's rule,
	// which triples the number of right digits at each turn.
	t := 0.4375 + float64(0.5714*f)
	for range 4 {
		c := float64(t * float64(t*t))
		t *= (c + float64(2*f)) / (float64(2*c) + f)
	}
	// One Newton step with the residual known beyond double precision takes
	// the error of the last Halley step away.
	h, l := square(t)
	rh, rl := timesDD(h, l, t)
	r := (rh - f) + rl
	t -= r / float64(3*h)
	return math.Copysign(math.Ldexp(t, e/3), x)
}
