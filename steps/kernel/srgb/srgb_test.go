package srgb

import (
	"math"
	"testing"
)

// Source: IEC 61966-2-1:1999, the curve at 8 and 16 bits.
func TestCurve(t *testing.T) {
	for c, want := range map[float64]float64{.001: 3.295, .0031308: 10.315, .01: 25.462, .05: 63.189, .18: 117.646, .5: 187.516, .75: 224.610, 0: 0, 1: 255} {
		if got := 255 * Encode(c); math.Abs(got-want) > 6e-4 {
			t.Errorf("Encode(%v) = %.4f of 255, want %v", c, got, want)
		}
	}
	for v, want := range map[float64]float64{10: .0030353, 11: .0033465, 64: .0512695, 128: .2158605, 188: .5028865} {
		if got := Decode(v / 255); math.Abs(got-want) > 1e-6 {
			t.Errorf("Decode(%v/255) = %.7f, want %v", v, got, want)
		}
	}
	for c, want := range map[float64]float64{.18: 30235, .5: 48192} {
		if got := math.Round(65535 * Encode(c)); got != want {
			t.Errorf("Encode(%v) = %v of 65535, want %v", c, got, want)
		}
	}
}

func TestThereAndBack(t *testing.T) {
	for i := -100; i <= 1100; i++ {
		c := float64(i) / 1000
		if got := Decode(Encode(c)); math.Abs(got-c) > 2e-7 { // the standard's two thresholds do not meet exactly
			t.Errorf("%v came back as %v", c, got)
		}
	}
}
