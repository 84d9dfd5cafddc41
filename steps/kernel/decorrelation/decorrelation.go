// Package decorrelation tells from a single picture how fine the detail is that it shows, by the analysis of
// Descloux, Grußmayer & Radenovic 2019, "Parameter-free image resolution estimation based on decorrelation
// analysis", Nat. Methods 16:918.
package decorrelation

import (
	"math"

	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/portable"
)

const (
	least    = 32 // pixels a side below which rings mean nothing
	taper    = 0.125
	highPass = 10 // pictures, ever more of their broad detail taken off, that are looked at beside the picture
	// least drop behind a peak, so that a ripple of a level curve is none
	drop = 1e-3
)

// Limit returns the highest frequency, in cycles a pixel, at which a picture of w by h pixels shows detail rather than
// noise; 0 where there is none to be found: a flat picture, one of noise alone, one with a side of less than 32 px. No
// pixel may be NaN. Gain and offset change nothing.
func Limit(pix []float32, w, h int) float64 {
	if w < least || h < least {
		return 0
	}
	r := newRings(pix, w, h)
	top, _ := r.peak(func(float64) float64 { return 1 })
	widest := 0.15 * float64(min(w, h)) // of the blur taken off, pixels
	for i := range highPass {
		sigma := portable.Exp(float64(float64(i) / (highPass - 1) * portable.Log(0.6/widest)))
		sigma *= widest
		f, _ := r.peak(func(f float64) float64 { return 1 - portable.Exp(-2*float64(math.Pi*math.Pi*sigma*sigma*f*f)) })
		top = max(top, f)
	}
	return top
}

// rings holds a spectrum's amplitudes, summed over rings of one frequency.
type rings struct {
	width                   float64 // cycles a pixel
	amplitude, power, count []float64
}

func newRings(pix []float32, w, h int) *rings {
	pw, ph := fourier.Good(w), fourier.Good(h)
	plan := fourier.NewReal(pw, ph)
	half := plan.Half()
	padded, re, im := make([]float32, pw*ph), make([]float32, half*ph), make([]float32, half*ph)
	fill(padded, pix, w, h, pw)
	plan.Forward(padded, re, im)
	r := &rings{width: 1 / float64(min(pw, ph))}
	n := int(0.5 / r.width)
	r.amplitude, r.power, r.count = make([]float64, n), make([]float64, n), make([]float64, n)
	for v := range ph {
		fy := float64(v) / float64(ph)
		if v > ph/2 {
			fy--
		}
		for u := range half {
			fx := float64(u) / float64(pw)
			f := math.Sqrt(float64(fx*fx) + float64(fy*fy))
			k := int(f / r.width)
			if k >= n || u == 0 && v == 0 {
				continue
			}
			a, b := float64(re[v*half+u]), float64(im[v*half+u])
			p := float64(a*a) + float64(b*b)
			r.amplitude[k] += math.Sqrt(p)
			r.power[k] += p
			r.count[k]++
		}
	}
	return r
}

// fill writes the picture less its mean, faded out at its ends (Tukey's window), into the corner of a padded one.
func fill(dst, pix []float32, w, h, pw int) {
	mean := 0.0
	for _, v := range pix {
		mean += float64(v)
	}
	mean /= float64(w * h)
	fx, fy := fourier.Tukey(w, taper), fourier.Tukey(h, taper)
	for y := range h {
		for x := range w {
			dst[y*pw+x] = (pix[y*w+x] - float32(mean)) * float32(fx[x]*fy[y])
		}
	}
}

// peak returns where the correlation of the picture, filtered by gain, with the same picture of equal amplitudes up to a
// frequency is highest before it falls: beyond it come frequencies that hold noise alone. 0 where it never falls.
func (r *rings) peak(gain func(f float64) float64) (f, height float64) {
	d := make([]float64, len(r.count))
	total := 0.0
	g := make([]float64, len(d))
	for k := range d {
		g[k] = gain((float64(k) + 0.5) * r.width)
		total += float64(g[k] * g[k] * r.power[k])
	}
	if !(total > 0) {
		return 0, 0
	}
	sum, n := 0.0, 0.0
	for k := range d {
		sum += float64(g[k] * r.amplitude[k])
		n += r.count[k]
		if n > 0 {
			d[k] = sum / math.Sqrt(total*n)
		}
	}
	// Of a curve that ends in a rise only the part before it counts.
	for end := len(d); end > 2; {
		top := 0
		for k, v := range d[:end] {
			if v > d[top] {
				top = k
			}
		}
		low := d[top]
		for _, v := range d[top:end] {
			low = min(low, v)
		}
		if d[top]-low > drop && top > 0 {
			return (float64(top) + 1) * r.width, d[top]
		}
		end = top
	}
	return 0, 0
}
