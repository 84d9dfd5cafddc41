package deconvolve

import (
	"cmp"
	"math"

	"plenilune/steps/kernel/portable"
)

// Telescope is the transfer of perfect optics onto square pixels: the blur that no
// air makes and that nothing should take out.
type Telescope struct {
	Cutoff      float64 // where the transfer ends, D/λ, cycles per pixel
	Obstruction float64 // of the aperture, as a share of its diameter
	Pixel       float64 // side of the sensor's pixel, in pixels of the picture; 0 is 1
}

// pixel is the transfer of the sensor's pixel along an axis.
func (t Telescope) pixel(f float64) float64 { return sinc(float64(f * cmp.Or(t.Pixel, 1))) }

// Typical returns the telescope that stands in where nothing is known of the
// optics: obstructed, and sampled at two pixels per λ/D, as its users choose it
// (common practice, no source).
func Typical() Telescope { return Telescope{Cutoff: 0.5, Obstruction: 0.3} }

// Transfer returns by how much optics and pixels leave a pattern of f cycles per
// pixel along an axis.
func (t Telescope) Transfer(f float64) float64 {
	return float64(t.Optics(f/t.Cutoff) * t.pixel(f))
}

// Optics returns the transfer of the optics alone at ν = f/Cutoff: the
// autocorrelation of an annular aperture (O'Neill 1956, J. Opt. Soc. Am. 46:285).
func (t Telescope) Optics(nu float64) float64 {
	nu = math.Abs(nu)
	if nu >= 1 {
		return 0
	}
	e := t.Obstruction
	sum := overlap(2*nu, 1, 1) - float64(2*overlap(2*nu, 1, e)) + overlap(2*nu, e, e)
	return sum / (math.Pi * (1 - float64(e*e)))
}

// overlap returns the area common to circles of radii a and b whose middles lie d apart.
func overlap(d, a, b float64) float64 {
	small := min(a, b)
	switch {
	case d >= a+b:
		return 0
	case d <= math.Abs(a-b):
		return math.Pi * float64(small*small)
	}
	return segment(d, a, b) + segment(d, b, a)
}

// segment is what the common chord cuts off the circle of radius a.
func segment(d, a, b float64) float64 {
	c := (float64(d*d) + float64(a*a) - float64(b*b)) / (2 * d * a)
	c = min(max(c, -1), 1)
	return float64(a * a * (portable.Acos(c) - float64(c*math.Sqrt(1-float64(c*c)))))
}

// sinc is sin(πx)/(πx).
func sinc(x float64) float64 {
	if math.Abs(x) < 1e-9 {
		return 1
	}
	return portable.Sin(math.Pi*x) / (math.Pi * x)
}

// FWHM returns the full width at half maximum, in pixels, of the image of a point
// through the telescope and then the spread s.
func (t Telescope) FWHM(s Spread) float64 {
	const n = 48 // frequencies a side; the transfer is smooth
	var along [n]float64
	end := t.Cutoff
	for end > 0.01 && s.Transfer(end) < 1e-4 {
		end *= 0.9
	}
	step := end / n
	for i := range along {
		for j := range n {
			u, v := float64((float64(i)+0.5)*step), float64((float64(j)+0.5)*step)
			f := math.Sqrt(float64(u*u) + float64(v*v))
			along[i] += float64(float64(t.Optics(f/t.Cutoff)*s.Transfer(f)) * float64(t.pixel(u)*t.pixel(v)))
		}
	}
	value := func(x float64) (sum float64) {
		for i, a := range along {
			sum += float64(a * portable.Cos(float64(2*math.Pi*(float64(i)+0.5)*step*x)))
		}
		return sum
	}
	half := value(0) / 2
	lo, hi := 0.0, 0.0
	for hi < 0.5/step && value(hi) > half {
		lo, hi = hi, hi+0.25
	}
	for range 40 {
		if m := (lo + hi) / 2; value(m) > half {
			lo = m
		} else {
			hi = m
		}
	}
	return lo + hi
}
