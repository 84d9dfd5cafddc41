package portable

import "math"

// ln 2 in three pieces; the first has 33 bits, so its product with an exponent is exact.
const (
	ln2High = 0x1.62e42fefp-1
	ln2Low  = 0x1.473de6af278edp-34
	ln2Rest = -0x1.9ff0342542fc3p-90
)

// Exp returns eˣ; within 1 ulp, Exp(0) = 1 exactly.
func Exp(x float64) float64 { return expSum(x, 0) }

// expSum returns e^(x+l) where l is a small correction to x.
func expSum(x, l float64) float64 {
	switch {
	case x != x:
		return math.NaN()
	case x > 709.79:
		return math.Inf(1)
	case x < -745.2:
		return 0
	}
	k := math.RoundToEven(x * (1 / math.Ln2))
	hi := x - float64(k*ln2High)
	lo := float64(k*ln2Low) - l
	r := hi - lo
	// eʳ - 1 - r over r²; the first term left out is 5e-18 of the result.
	p := 1.0 / 6227020800
	p = float64(p*r) + 1.0/479001600
	p = float64(p*r) + 1.0/39916800
	p = float64(p*r) + 1.0/3628800
	p = float64(p*r) + 1.0/362880
	p = float64(p*r) + 1.0/40320
	p = float64(p*r) + 1.0/5040
	p = float64(p*r) + 1.0/720
	p = float64(p*r) + 1.0/120
	p = float64(p*r) + 1.0/24
	p = float64(p*r) + 1.0/6
	p = float64(p*r) + 0.5
	y := 1 + (hi + (float64(float64(r*r)*p) - lo))
	if k > -1000 && k < 1000 {
		return float64(y * math.Float64frombits(uint64(int(k)+1023)<<52))
	}
	return math.Ldexp(y, int(k))
}

// Log returns the natural logarithm; within 1 ulp, Log(1) = 0 exactly.
// Of 0 it is -Inf, of a negative number NaN.
func Log(x float64) float64 {
	switch {
	case x != x || x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	case math.IsInf(x, 1):
		return x
	}
	f, k := nearOne(x)
	// log(1+f) = 2·atanh(s), s = f/(2+f), written so that f itself, which is
	// exact, carries the leading digits.
	s := f / (2 + f)
	z := float64(s * s)
	r := float64(z * (2.0/3 + float64(z*logTail(z))))
	half := float64(0.5 * float64(f*f))
	return float64(k*ln2High) - ((half - (float64(s*(half+r)) + float64(k*ln2Low))) - f)
}

// logTail returns 2/5 + 2z/7 + … + 2z¹⁰/25 for z ≤ 0.0295: what is left out is below 1e-17
// of it.
func logTail(z float64) float64 {
	p := 2.0 / 25
	p = float64(p*z) + 2.0/23
	p = float64(p*z) + 2.0/21
	p = float64(p*z) + 2.0/19
	p = float64(p*z) + 2.0/17
	p = float64(p*z) + 2.0/15
	p = float64(p*z) + 2.0/13
	p = float64(p*z) + 2.0/11
	p = float64(p*z) + 2.0/9
	p = float64(p*z) + 2.0/7
	return float64(p*z) + 2.0/5
}

// nearOne writes positive x as (1+f)·2^k with 1+f in √½…√2, exactly.
func nearOne(x float64) (f, k float64) {
	m, e := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m, e = 2*m, e-1
	}
	return m - 1, float64(e)
}

// logDouble returns log x as a double-double, to about 2^-64 of itself.
func logDouble(x float64) (h, l float64) {
	f, k := nearOne(x)
	dh, dl := fast(2, f)
	sh := f / dh
	p, e := times(sh, dh)
	sl := (((f - p) - e) - float64(sh*dl)) / dh
	sh, sl = fast(sh, sl)
	zh, zl := mulDD(sh, sl, sh, sl)
	ch, cl := mulDD(zh, zl, sh, sl)
	ch, cl = mulDD(ch, cl, 0x1.5555555555555p-1, 0x1.5555555555555p-55) // 2/3
	rest := float64(float64(sh*float64(zh*zh)) * logTail(zh))
	h, l = addDD(2*sh, 2*sl, ch, cl+rest)
	th, tl := times(k, ln2Low)
	th, tl = addDD(float64(k*ln2High), 0, th, tl+float64(k*ln2Rest))
	return addDD(th, tl, h, l)
}

// Pow returns x^y with the special cases of math.Pow; within 1 ulp where the
// result is a normal number. Pow(x, 1), Pow(x, 0.5) and powers of two are exact or correctly rounded.
func Pow(x, y float64) float64 {
	if z, ok := powSpecial(x, y); ok {
		return z
	}
	sign := 1.0
	if x < 0 {
		if math.Trunc(y) != y {
			return math.NaN()
		}
		if math.Mod(y, 2) != 0 {
			sign = -1
		}
		x = -x
	}
	switch {
	case x == 1:
		return sign
	case math.Abs(y) >= 0x1p+70: // |log x| ≥ 2^-54
		if (x > 1) == (y > 0) {
			return sign * math.Inf(1)
		}
		return sign * 0
	}
	h, l := logDouble(x)
	return sign * expSum(timesDD(h, l, y))
}

// powSpecial answers what needs no logarithm.
func powSpecial(x, y float64) (float64, bool) {
	switch {
	case y == 0 || x == 1:
		return 1, true
	case x != x || y != y:
		return math.NaN(), true
	case y == 1:
		return x, true
	case y == 0.5 && x > 0:
		return math.Sqrt(x), true
	case x == 0 || math.IsInf(x, 0):
		odd := math.Trunc(y) == y && math.Abs(y) < 1<<53 && math.Mod(y, 2) != 0
		size := math.Inf(1)
		if (x == 0) == (y > 0) {
			size = 0
		}
		if odd {
			return math.Copysign(size, x), true
		}
		return size, true
	case math.IsInf(y, 0):
		a := math.Abs(x)
		switch {
		case a == 1:
			return 1, true
		case (a > 1) == (y > 0):
			return math.Inf(1), true
		}
		return 0, true
	}
	return 0, false
}
