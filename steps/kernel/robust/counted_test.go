package robust

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Counted quantiles are those of sorted samples, to the last bit.
func TestQuantilesAreThoseOfSortedSamples(t *testing.T) {
	q := []float64{0, 0.01, 0.5, 0.77, 0.99, 1}
	for _, n := range []int{0, 1, 2, 3, 100, 101, 5000} {
		for seed := range uint64(6) {
			rng := rand.New(rand.NewPCG(seed, uint64(n)))
			v := make([]float32, n)
			for i := range v {
				switch k := rng.IntN(40); {
				case seed == 0:
					v[i] = 0.25
				case k == 0:
					v[i] = float32(math.NaN())
				case seed == 1: // close to each other: only the lower bits differ
					v[i] = math.Float32frombits(0x3f000000 + uint32(rng.IntN(300)))
				case k == 1:
					v[i] = 0
				default:
					v[i] = float32(rng.NormFloat64() * math.Pow(10, float64(seed)-4))
				}
			}
			want := Quantiles(v, q...)
			for i, got := range Counted(slices.Values(v), q...) {
				if math.Float64bits(got) != math.Float64bits(want[i]) && (got == got || want[i] == want[i]) {
					t.Errorf("%d samples, seed %d: quantile %v is %v, want %v", n, seed, q[i], got, want[i])
				}
			}
		}
	}
}
