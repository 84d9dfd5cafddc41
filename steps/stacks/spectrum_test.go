package stacks

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/frc"
)

// White detail of variance v has the power v·n of n pixels in every band, windows aside,
// however much noise of their own the halves carry.
func TestSpectrumIsWithoutNoise(t *testing.T) {
	const size = 512
	r := rand.New(rand.NewPCG(3, 9))
	level := math.NaN()
	for _, noise := range []float64{0, 2} {
		a, b := make([]float32, size*size), make([]float32, size*size)
		for i := range a {
			v := 0.5 * r.NormFloat64()
			a[i], b[i] = float32(v+noise*r.NormFloat64()), float32(v+noise*r.NormFloat64())
		}
		got := spectrumOf(frc.Correlate(a, b, size, size)).Bands
		if len(got) != mostBands {
			t.Fatalf("%d bands", len(got))
		}
		if level != level { // the window lets pass (1 − 5/8·2/8)² of the power of a white picture
			level = 0.25 * size * size * math.Pow(1-5.0/8*2*0.125, 2)
		}
		for k, p := range got {
			// The product of two halves scatters by its own size and that of the noise.
			within := 5 * math.Sqrt(2/p.Samples) * (1 + noise*noise/0.25)
			if math.Abs(p.Power/level-1) > within {
				t.Errorf("noise %g, %.3f cycles/px: power %.4g, want %.4g within %.0f %%", noise, p.Frequency, p.Power, level, 100*within)
			}
			if k > 0 && math.Abs(p.Frequency/got[k-1].Frequency/math.Pow(2, 0.25)-1) > 0.05 {
				t.Errorf("bands at %.4f and %.4f cycles/px", got[k-1].Frequency, p.Frequency)
			}
		}
	}
}
