package simulate

import (
	"math"
	"testing"
)

// strehls returns the mean Strehl ratio over some moments of air.
func strehls(o *optics, overR0 float64, moments int) (mean float64) {
	s := o.spreader()
	for k := range moments {
		s.corners(overR0, gust{}, newDice(3, forScreen, k), func(_ int, _ []float32, strehl float64) {
			mean += strehl / float64(4*moments)
		})
	}
	return mean
}

// The Strehl ratio of little turbulence is exp(-σ²), σ² = 0.134 (D/r0)^(5/3)
// once tilt is taken out (Maréchal's approximation with Noll 1976).
func TestStrehlRatio(t *testing.T) {
	o := newOptics(0.484, 0)
	if got := strehls(o, 1e-4, 1); math.Abs(got-1) > 1e-4 {
		t.Errorf("without air: %g, want 1", got)
	}
	last := 1.0
	for _, overR0 := range []float64{0.5, 1, 2, 3, 5} {
		got := strehls(o, overR0, 80)
		want := math.Exp(-0.134 * math.Pow(overR0, 5.0/3))
		if overR0 <= 2 && math.Abs(got/want-1) > 0.05 {
			t.Errorf("D/r0 = %g: %.3f, want %.3f", overR0, got, want)
		}
		if got >= last {
			t.Errorf("D/r0 = %g: %.3f is not below %.3f in better air", overR0, got, last)
		}
		last = got
	}
}

func TestSpreadFunctionIsCentredAndWhole(t *testing.T) {
	s := newOptics(0.484, 0.3).spreader()
	s.corners(2.5, gust{5, 2}, newDice(4, forScreen), func(k int, psf []float32, strehl float64) {
		sum := 0.0
		for _, v := range psf {
			sum += float64(v)
		}
		if math.Abs(sum-1) > 1e-5 {
			t.Errorf("corner %d: the light sums to %g", k, sum)
		}
		// Correlated with the ideal spread function once more, over ground whose
		// detail falls as f^-2, the peak is at home.
		copy(s.re, psf)
		clear(s.im)
		s.ft.Forward(s.re, s.im)
		for i, m := range s.ideal {
			s.re[i] *= m * s.ground[i]
			s.im[i] *= m * s.ground[i]
		}
		s.ft.Inverse(s.re, s.im)
		if x, y := peak(s.re, spreadSide); math.Hypot(x, y) > 0.02 {
			t.Errorf("corner %d: it lies at %.3f, %.3f px", k, x, y)
		}
		if strehl <= 0 || strehl > 1 {
			t.Errorf("corner %d: Strehl ratio %g", k, strehl)
		}
	})
}
