// Package wavelet splits a picture into planes by scale with the starlet, the
// undecimated à trous transform with the cubic B-spline (Starck & Murtagh,
// Astronomical Image and Data Analysis, 2nd ed. 2006).
package wavelet

import "plenilune/steps/kernel/lanes"

// Starlet returns levels detail planes, finest first, and what is left: plane j
// (from 0) is the difference of two smoothings by [1 4 6 4 1]/16 with 2^j-1
// holes between the taps, and the planes and the residual add up to the
// picture. Borders are mirrored about the outermost pixel's centre. A NaN
// spreads as far as the kernel reaches.
func Starlet(img []float32, w, h, levels int) (planes [][]float32, residual []float32) {
	if len(img) != w*h {
		panic("wavelet: the picture is not width times height")
	}
	residual = append([]float32(nil), img...)
	tmp := make([]float32, w)
	for j := range levels {
		detail := make([]float32, w*h)
		smooth := detail
		Smooth(smooth, residual, tmp, w, h, 1<<j)
		for i, s := range smooth {
			detail[i], residual[i] = residual[i]-s, s
		}
		planes = append(planes, detail)
	}
	return planes, residual
}

// Combine adds up residual and planes, each plane times its gain; a missing gain
// is 1.
func Combine(planes [][]float32, residual []float32, gains ...float32) []float32 {
	out := append([]float32(nil), residual...)
	for j := len(planes) - 1; j >= 0; j-- {
		if j >= len(gains) || gains[j] == 1 {
			for i, v := range planes[j] {
				out[i] += v
			}
			continue
		}
		for i, v := range planes[j] {
			out[i] += float32(gains[j] * v)
		}
	}
	return out
}

// Smooth writes into dst the smoothing of src with taps step pixels apart; both
// are slices of w·h, not the same. tmp, of w values, is overwritten.
func Smooth(dst, src, tmp []float32, w, h, step int) {
	row := tmp[:w]
	for y := range h {
		a := src[reflect(y-2*step, h)*w:][:w]
		b := src[reflect(y-step, h)*w:][:w]
		c := src[y*w:][:w]
		d := src[reflect(y+step, h)*w:][:w]
		e := src[reflect(y+2*step, h)*w:][:w]
		lanes.Spline(row, a, b, c, d, e)
		out := dst[y*w:][:w]
		lo := min(2*step, w)
		hi := max(lo, w-2*step)
		for x := range lo {
			out[x] = splineAt(row, x, step)
		}
		if lo < hi {
			lanes.Spline(out[lo:hi], row[lo-2*step:], row[lo-step:], row[lo:], row[lo+step:], row[lo+2*step:])
		}
		for x := hi; x < w; x++ {
			out[x] = splineAt(row, x, step)
		}
	}
}

func splineAt(row []float32, x, step int) float32 {
	n := len(row)
	ae := row[reflect(x-2*step, n)] + row[reflect(x+2*step, n)]
	bd := row[reflect(x-step, n)] + row[reflect(x+step, n)]
	return float32(0.0625*ae) + float32(0.25*bd) + float32(0.375*row[x])
}

// reflect returns the index in 0…n-1 that i mirrors to.
func reflect(i, n int) int {
	if n == 1 {
		return 0
	}
	period := 2 * (n - 1)
	i %= period
	if i < 0 {
		i += period
	}
	if i >= n {
		i = period - i
	}
	return i
}

var noise = [...]float64{.89080, .20066, .08551, .04122, .02042, .01019, .00509}

// NoiseFactor returns the standard deviation of detail plane j (from 0) of
// white noise with standard deviation 1; beyond the table each plane has half
// of the one before.
func NoiseFactor(j int) float64 {
	f := noise[min(j, len(noise)-1)]
	for k := len(noise); k <= j; k++ {
		f /= 2
	}
	return f
}
