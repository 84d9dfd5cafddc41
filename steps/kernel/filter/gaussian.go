package filter

import (
	"math"

	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/portable"
)

// GaussianTaps returns the half of a Gaussian kernel from its centre outwards,
// sampled at whole pixels out to 4σ and normalised so that the whole sums to 1.
func GaussianTaps(sigma float64) []float32 {
	if !(sigma > 0) {
		return []float32{1}
	}
	n := max(1, int(math.Ceil(4*sigma)))
	t := make([]float64, n+1)
	sum := 0.0
	for i := range t {
		u := float64(i) / sigma
		t[i] = portable.Exp(-0.5 * float64(u*u))
		sum += 2 * t[i]
	}
	sum -= t[0]
	out := make([]float32, n+1)
	for i := range t {
		out[i] = float32(t[i] / sum)
	}
	return out
}

// Gaussian blurs src by sigma pixels into dst.
func Gaussian(dst, src []float32, w, h int, sigma float64) {
	Symmetric(dst, src, w, h, GaussianTaps(sigma))
}

// GaussianFilled blurs what is there: NaNs weigh nothing, and a pixel is NaN
// afterwards only if nothing lies within reach, or its weight is below floor
// (0…1).
func GaussianFilled(dst, src []float32, w, h int, sigma, floor float64) {
	sameSize(dst, src, w, h)
	value, weight := make([]float32, w*h), make([]float32, w*h)
	for i, v := range src[:w*h] {
		if v == v {
			value[i], weight[i] = v, 1
		}
	}
	taps := GaussianTaps(sigma)
	Symmetric(value, value, w, h, taps)
	Symmetric(weight, weight, w, h, taps)
	nan := float32(math.NaN())
	for i, k := range weight {
		if k > 0 && float64(k) >= floor {
			dst[i] = value[i] / k
		} else {
			dst[i] = nan
		}
	}
}

// Symmetric convolves rows and columns with a symmetric kernel, given from its
// centre outwards.
func Symmetric(dst, src []float32, w, h int, taps []float32) {
	SymmetricWith(make([]float32, w*h), dst, src, w, h, taps)
}

// SymmetricWith is Symmetric in memory that the caller keeps: tmp holds w·h values
// and is neither dst nor src.
func SymmetricWith(tmp, dst, src []float32, w, h int, taps []float32) {
	sameSize(dst, src, w, h)
	for y := range h {
		symmetricRow(tmp[y*w:(y+1)*w], src[y*w:(y+1)*w], taps)
	}
	symmetricColumns(dst, tmp, w, h, taps)
}

func symmetricRow(dst, src []float32, taps []float32) {
	n, k := len(src), len(taps)-1
	lo, hi := min(k, n), max(n-k, min(k, n))
	for x := range lo {
		dst[x] = symmetricAt(src, taps, x)
	}
	for x := hi; x < n; x++ {
		dst[x] = symmetricAt(src, taps, x)
	}
	if lo >= hi {
		return
	}
	out := dst[lo:hi]
	t := taps[0]
	for x, v := range src[lo:hi] {
		out[x] = float32(t * v)
	}
	// Two taps at a time, to touch the output half as often.
	i := 1
	for ; i < k; i += 2 {
		lanes.AddPairs(out, src[lo-i:], src[lo+i:], src[lo-i-1:], src[lo+i+1:], taps[i], taps[i+1])
	}
	if i == k {
		addTwo(out, src[lo-i:], src[lo+i:], taps[i])
	}
}

// symmetricAt is one value, in the order of sums that symmetricRow has.
func symmetricAt(src []float32, taps []float32, x int) float32 {
	n, k := len(src), len(taps)-1
	pair := func(i int) float32 { return src[reflect(x-i, n)] + src[reflect(x+i, n)] }
	s := float32(taps[0] * src[x])
	i := 1
	for ; i < k; i += 2 {
		s += float32(taps[i]*pair(i)) + float32(taps[i+1]*pair(i+1))
	}
	if i == k {
		s += float32(taps[i] * pair(i))
	}
	return s
}

func addTwo(out, a, b []float32, t float32) {
	a, b = a[:len(out)], b[:len(out)]
	for x := range out {
		out[x] += float32(t * (a[x] + b[x]))
	}
}

func symmetricColumns(dst, src []float32, w, h int, taps []float32) {
	row := func(y int) []float32 { return src[reflect(y, h)*w:][:w] }
	k := len(taps) - 1
	for y := range h {
		out := dst[y*w : (y+1)*w]
		t := taps[0]
		for x, v := range row(y) {
			out[x] = float32(t * v)
		}
		i := 1
		for ; i < k; i += 2 {
			lanes.AddPairs(out, row(y-i), row(y+i), row(y-i-1), row(y+i+1), taps[i], taps[i+1])
		}
		if i == k {
			addTwo(out, row(y-i), row(y+i), taps[i])
		}
	}
}
