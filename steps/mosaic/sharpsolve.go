package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/solve"
)

// sharpness is the logarithm of a panel's amplitude in each starlet plane, the finest first, against the mean
// of the panels it hangs together with.
type sharpness [sharpBands]float64

// sharpSpread is the prior of how far panels of a night differ. Measured on simulated nights: a slope
// across each panel besides follows chance more than blur.
const sharpSpread = 0.15

// solveSharpness finds the sharpness of all panels at once, plane by plane: robust least squares (Cauchy weights)
// under a prior about zero. A panel of which no tie speaks stays at zero.
func solveSharpness(n int, ties []sharpTie) ([]sharpness, error) {
	out := make([]sharpness, n)
	for j := range sharpBands {
		for range 8 {
			eq := solve.NewNormal(n)
			for i := range n {
				eq.Add([]int{i}, []float64{1}, out[i][j], 1/(sharpSpread*sharpSpread))
			}
			for _, t := range ties {
				if t.Band != j {
					continue
				}
				r := out[t.A][j] - out[t.B][j] - t.Log
				eq.Add([]int{t.A, t.B}, []float64{1, -1}, r, t.Weight/(1+float64(float64(r*r)*t.Weight/4)))
			}
			step, err := eq.Solve()
			if err != nil {
				return nil, err
			}
			most := 0.0
			for i := range n {
				out[i][j] += step[i]
				most = max(most, math.Abs(step[i]))
			}
			if most < 1e-6 {
				break
			}
		}
	}
	return out, nil
}

// mostGain bounds the logarithm of what is given to a dull panel and taken from a crisp one: beyond a factor of 1.65,
// noise would be all that grows.
const mostGain = 0.5

// gain returns the factor on a plane that brings the panel to the common sharpness, smoothly bounded.
func (s sharpness) gain(j int) float64 {
	x := -s[j] / mostGain
	return portable.Exp(mostGain * x / math.Sqrt(1+float64(x*x)))
}
