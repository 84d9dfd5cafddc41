package portable

import (
	"math"
	"math/bits"
)

// π/2 in four pieces, the first two of 33 bits so that their products with a
// count below 2^20 are exact.
const (
	halfPi1 = 0x1.921fb544p+0
	halfPi2 = 0x1.0b4611a6p-34
	halfPi3 = 0x1.3198a2e037073p-69
	halfPi4 = 0x1.129024e088a68p-123

	halfPiHigh = 0x1.921fb54442d18p+0
	halfPiLow  = 0x1.1a62633145c07p-54
)

// twoOverPi holds the binary digits of 2/π after one word of zeros.
var twoOverPi = [...]uint64{
	0,
	0xa2f9836e4e441529, 0xfc2757d1f534ddc0, 0xdb6295993c439041, 0xfe5163abdebbc561,
	0xb7246e3a424dd2e0, 0x06492eea09d1921c, 0xfe1deb1cb129a73e, 0xe88235f52ebb4484,
	0xe99c7026b45f7e41, 0x3991d639835339f4, 0x9c845f8bbdf9283b, 0x1ff897ffde05980f,
	0xef2f118b5a0a6d1f, 0x6d367ecf27cb09b7, 0x4f463f669e5fea2d, 0x7527bac7ebe5f17b,
	0x3d0739f78a5292ea, 0x6bfb5fb11f8d5d08, 0x56033046fc7b6bab, 0xf0cfbc209af4361d,
}

// Sin returns the sine of x radians; within 1 ulp, for every finite x.
func Sin(x float64) float64 {
	s, _ := Sincos(x)
	return s
}

// Cos returns the cosine of x radians; within 1 ulp, for every finite x.
func Cos(x float64) float64 {
	_, c := Sincos(x)
	return c
}

// Sincos returns Sin(x), Cos(x). Of a NaN or an infinity both are NaN.
func Sincos(x float64) (sin, cos float64) {
	if x != x || math.IsInf(x, 0) {
		return math.NaN(), math.NaN()
	}
	if math.Abs(x) < 0x1p-27 {
		return x, 1 // x³/6 and x²/2 are below the last place
	}
	quarter, h, l := reduce(x)
	s, c := sinTaylor(h, l), cosTaylor(h, l)
	switch quarter & 3 {
	case 0:
		return s, c
	case 1:
		return c, -s
	case 2:
		return -s, -c
	}
	return -c, s
}

// reduce returns x less the nearest multiple of π/2, as h+l with |h| ≤ π/4 or
// a rounding more, and that multiple modulo a power of two ≥ 4.
func reduce(x float64) (quarter int, h, l float64) {
	a := math.Abs(x)
	switch {
	case a <= halfPiHigh/2:
		return 0, x, 0
	case a < 1<<20:
		// Cody & Waite (1980): take the multiple off piece by piece.
		k := math.RoundToEven(x * (1 / halfPiHigh))
		r := x - float64(k*halfPi1)
		s, e := plus(r, -float64(k*halfPi2))
		w, we := times(k, halfPi3)
		s, e2 := plus(s, -w)
		h, l = fast(s, e2+(e-(we+float64(k*halfPi4))))
		return int(k) & 3, h, l
	}
	quarter, h, l = reduceHuge(a)
	if x < 0 {
		return -quarter & 3, -h, -l
	}
	return quarter, h, l
}

// reduceHuge is reduce for x ≥ 2^20: the product with the digits of 2/π that
// matter, modulo 4, in 192-bit fixed point (Payne & Hanek 1983).
func reduceHuge(x float64) (quarter int, h, l float64) {
	b := math.Float64bits(x)
	m := b&(1<<52-1) | 1<<52
	e := int(b>>52) - 1075 // x = m·2^e
	// Digits before position e-2 only add multiples of 4.
	at := e - 2 + 64
	word, shift := at/64, uint(at%64)
	digits := func(i int) uint64 {
		if shift == 0 {
			return twoOverPi[word+i]
		}
		return twoOverPi[word+i]<<shift | twoOverPi[word+i+1]>>(64-shift)
	}
	w0, w1, w2 := digits(0), digits(1), digits(2)
	h2, p2 := bits.Mul64(m, w2)
	h1, p1 := bits.Mul64(m, w1)
	p1, carry := bits.Add64(p1, h2, 0)
	p0 := m*w0 + h1 + carry
	quarter = int(p0 >> 62)
	// The fraction, with its point before the first bit.
	f0, f1, f2 := p0<<2|p1>>62, p1<<2|p2>>62, p2<<2
	negative := f0>>63 == 1
	if negative {
		quarter++
		var borrow uint64
		f2, borrow = bits.Sub64(0, f2, 0)
		f1, borrow = bits.Sub64(0, f1, borrow)
		f0, _ = bits.Sub64(0, f0, borrow)
	}
	scale := 0
	for f0 == 0 && scale < 128 {
		f0, f1, f2, scale = f1, f2, 0, scale+64
	}
	n := uint(bits.LeadingZeros64(f0))
	if n > 0 {
		f0, f1 = f0<<n|f1>>(64-n), f1<<n|f2>>(64-n)
	}
	scale += int(n)
	fh := math.Ldexp(float64(f0>>11), -53-scale)
	fl := math.Ldexp(float64(f0<<53>>11|f1>>11>>11), -106-scale)
	h, l = mulDD(fh, fl, halfPiHigh, halfPiLow)
	if negative {
		h, l = -h, -l
	}
	return quarter & 3, h, l
}

// sinTaylor returns sin(h+l), |h| ≤ π/4: the first term left out is 1e-19 of the result.
func sinTaylor(h, l float64) float64 {
	z := float64(h * h)
	p := 1.0 / 355687428096000
	p = float64(p*z) - 1.0/1307674368000
	p = float64(p*z) + 1.0/6227020800
	p = float64(p*z) - 1.0/39916800
	p = float64(p*z) + 1.0/362880
	p = float64(p*z) - 1.0/5040
	p = float64(p*z) + 1.0/120
	p = float64(p*z) - 1.0/6
	return h + (float64(float64(p*z)*h) + float64(l*(1-float64(0.5*z))))
}

// cosTaylor returns cos(h+l), |h| ≤ π/4: the first term left out is 3e-18 of the result.
func cosTaylor(h, l float64) float64 {
	z := float64(h * h)
	p := 1.0 / 20922789888000
	p = float64(p*z) - 1.0/87178291200
	p = float64(p*z) + 1.0/479001600
	p = float64(p*z) - 1.0/3628800
	p = float64(p*z) + 1.0/40320
	p = float64(p*z) - 1.0/720
	p = float64(p*z) + 1.0/24
	half := float64(0.5 * z)
	w := 1 - half
	return w + (((1 - w) - half) + (float64(float64(p*z)*z) - float64(h*l)))
}
