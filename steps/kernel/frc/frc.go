// Package frc tells how fine a detail two independent pictures of the same ground agree on, by Fourier ring
// correlation: the correlation of their spectra over rings of one spatial frequency (Saxton & Baumeister 1982,
// "The correlation averaging of a regularly arranged bacterial cell envelope protein"; van Heel & Schatz 2005,
// "Fourier shell correlation threshold criteria", eq. 1).
package frc

import (
	"math"

	"plenilune/steps/kernel/fourier"
)

// Ring is one ring of the two spectra.
type Ring struct {
	Frequency   float64 // of its middle, cycles a pixel, 0…½
	Correlation float64 // −1…1
	Samples     float64 // pixels in the full ring, those that padding adds not counted
	Power       float64 // mean of the product of the two spectra: the power of what both show, noise not counted
}

// Curve is a ring correlation, from the broadest detail to the finest.
type Curve []Ring

const (
	// least is how many pixels a side must have for rings to mean anything.
	least = 32
	// taper is the share of a side over which a picture fades out at each of its ends, so that the jump from one border
	// to the other does not correlate in all rings.
	taper = 0.125
	// finestRing is the least width of a ring in cycles a pixel: beyond 256 px more rings say no more.
	finestRing = 1.0 / 256
)

// Correlate compares pictures of w by h pixels, none of which is NaN. The curve is nil where a side has less than 32
// pixels or one of the pictures is flat.
func Correlate(a, b []float32, w, h int) Curve {
	if w < least || h < least {
		return nil
	}
	pw, ph := fourier.Good(w), fourier.Good(h)
	plan := fourier.NewReal(pw, ph)
	n := plan.Half() * ph
	are, aim, bre, bim := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	padded := make([]float32, pw*ph)
	fade := [2][]float32{fourier.Tukey(w, taper), fourier.Tukey(h, taper)}
	plan.Forward(prepare(padded, a, w, h, pw, fade), are, aim)
	plan.Forward(prepare(padded, b, w, h, pw, fade), bre, bim)
	sums := newRings(pw, ph, float64(w*h)/float64(pw*ph))
	half := plan.Half()
	for v := range ph {
		for u := range half {
			i := v*half + u
			sums.add(u, v, are[i], aim[i], bre[i], bim[i])
		}
	}
	return sums.curve()
}

// prepare writes a picture less its mean, faded out, into the corner of a padded one.
func prepare(dst, src []float32, w, h, pw int, fade [2][]float32) []float32 {
	clear(dst)
	var mean, weight float64
	for y := range h {
		for x, v := range src[y*w:][:w] {
			k := float64(fade[0][x] * fade[1][y])
			mean += float64(k * float64(v))
			weight += k
		}
	}
	m := float32(mean / weight)
	for y := range h {
		row := dst[y*pw:][:w]
		for x, v := range src[y*w:][:w] {
			row[x] = (v - m) * float32(fade[0][x]*fade[1][y])
		}
	}
	return dst
}

// rings are the sums of all rings.
type rings struct {
	pw, ph          int
	width           float64 // of a ring, cycles a pixel
	share           float64 // of the padded picture that is filled: padding makes no new samples
	cross, aa, bb   []float64
	samples, middle []float64
}

func newRings(pw, ph int, share float64) *rings {
	r := &rings{pw: pw, ph: ph, share: share, width: max(finestRing, 1/float64(min(pw, ph)))}
	n := int(0.5 / r.width)
	r.cross, r.aa, r.bb = make([]float64, n), make([]float64, n), make([]float64, n)
	r.samples, r.middle = make([]float64, n), make([]float64, n)
	return r
}

// add takes in one sample of the half spectra; the conjugate half would say the same.
func (r *rings) add(u, v int, ar, ai, br, bi float32) {
	if v > r.ph/2 {
		v -= r.ph
	}
	if u == 0 && v < 0 || u == 0 && v == 0 {
		return // the conjugates of column 0 stand in it; the mean is no detail
	}
	fx, fy := float64(u)/float64(r.pw), float64(v)/float64(r.ph)
	f := math.Sqrt(float64(fx*fx) + float64(fy*fy))
	k := int(f / r.width)
	if k >= len(r.cross) {
		return
	}
	r.cross[k] += float64(float64(ar)*float64(br)) + float64(float64(ai)*float64(bi))
	r.aa[k] += float64(float64(ar)*float64(ar)) + float64(float64(ai)*float64(ai))
	r.bb[k] += float64(float64(br)*float64(br)) + float64(float64(bi)*float64(bi))
	r.samples[k] += 2 * r.share // the conjugate's too
	r.middle[k] += float64(f * 2 * r.share)
}

func (r *rings) curve() Curve {
	var out Curve
	for k, c := range r.cross {
		d := math.Sqrt(float64(r.aa[k] * r.bb[k]))
		if !(d > 0) {
			continue
		}
		out = append(out, Ring{r.middle[k] / r.samples[k], c / d, r.samples[k], float64(2*r.share) * c / r.samples[k]})
	}
	return out
}

// HalfBit returns the correlation of two halves at which the two together carry half a bit of information a pixel of a
// ring of n pixels: van Heel & Schatz 2005, eq. 17, (0.2071 + 1.9102/√n) / (1.2071 + 0.9102/√n).
func HalfBit(n float64) float64 {
	q := 1 / math.Sqrt(max(n, 1))
	return (0.2071 + float64(1.9102*q)) / (1.2071 + float64(0.9102*q))
}

// Limit returns the frequency in cycles a pixel up to which the pictures agree: where the curve falls below HalfBit.
func (c Curve) Limit() float64 { return c.Crossing(HalfBit) }

// Crossing returns the frequency in cycles a pixel at which the curve, evened over three rings, first falls below a
// threshold, which may depend on a ring's samples. It is ½ where it never does, and 0 where it is below from the start.
func (c Curve) Crossing(threshold func(samples float64) float64) float64 {
	last, above := 0.0, 0.0
	for k := range c {
		excess := c.evened(k) - threshold(c[k].Samples)
		if excess < 0 {
			if k == 0 {
				return 0
			}
			t := above / (above - excess)
			return last + float64(t*(c[k].Frequency-last))
		}
		last, above = c[k].Frequency, excess
	}
	if len(c) == 0 {
		return 0
	}
	return 0.5
}

// evened is the mean correlation of a ring and those beside it.
func (c Curve) evened(k int) float64 {
	lo, hi := max(0, k-1), min(len(c)-1, k+1)
	var s float64
	for _, r := range c[lo : hi+1] {
		s += r.Correlation
	}
	return s / float64(hi-lo+1)
}
