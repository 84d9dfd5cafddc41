package fourier

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Tukey returns the factors along a side of n pixels that fade out a share of it, 0…0.5, at either end by a cosine (Tukey's window;
// Harris 1978, eq. 38): a transform takes a picture for periodic, and would see the jump from one border to the other.
func Tukey(n int, share float64) []float32 {
	out := make([]float32, n)
	m := share * float64(n)
	for i := range out {
		out[i] = 1
		if d := min(float64(i), float64(n-1-i)) + 0.5; d < m {
			out[i] = float32(0.5 - float64(0.5*portable.Cos(math.Pi*d/m)))
		}
	}
	return out
}
