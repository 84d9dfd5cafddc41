package fourier

import (
	"math"
	"testing"
)

// The window is one in the middle, half at half of its fade, and the same from both ends.
func TestTukey(t *testing.T) {
	const n, share = 80, 0.125 // fades over 10 pixels
	w := Tukey(n, share)
	for i, v := range w {
		d := min(float64(i), float64(n-1-i)) + 0.5
		want := 1.0
		if d < 10 {
			want = math.Pow(math.Sin(math.Pi*d/20), 2)
		}
		if math.Abs(float64(v)-want) > 1e-6 || v != w[n-1-i] {
			t.Errorf("factor %d is %g, want %g", i, v, want)
		}
	}
}
