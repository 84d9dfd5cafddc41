package filter

import (
	"math"

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
	sameSize(dst, src, w, h)
	tmp := make([]float32, w*h)
	for y := range h {
		symmetricRow(tmp[y*w:(y+1)*w], src[y*w:(y+1)*w], taps)
	}
	symmetricColumns(dst, tmp, w, h, taps)
}

func symmetricRow(dst, src []float32, taps []float32) {
	n, k := len(src), len(taps)-1
	for x := range dst {
		s := float32(taps[0] * src[x])
		for i := 1; i <= k; i++ {
			s += float32(taps[i] * (src[reflect(x-i, n)] + src[reflect(x+i, n)]))
		}
		dst[x] = s
	}
}

func symmetricColumns(dst, src []float32, w, h int, taps []float32) {
	for y := range h {
		out, in := dst[y*w:(y+1)*w], src[y*w:(y+1)*w]
		for x, v := range in {
			out[x] = float32(taps[0] * v)
		}
		for i := 1; i < len(taps); i++ {
			t := taps[i]
			a := src[reflect(y-i, h)*w:][:len(out)]
			b := src[reflect(y+i, h)*w:][:len(out)]
			for x := range out {
				out[x] += float32(t * (a[x] + b[x]))
			}
		}
	}
}
