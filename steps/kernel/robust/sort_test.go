package robust

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Many values and few come out as comparing puts them, those of every sign and size
// and infinities among them.
func TestSortIsAsByComparing(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 1))
	for _, n := range []int{0, 1, 2, 100, radixFrom - 1, radixFrom, 3*radixFrom + 7} {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(r.NormFloat64() * math.Exp(20*r.Float64()-10))
		}
		if n > 100 {
			copy(v[n/2:], []float32{float32(math.Inf(1)), 0, float32(math.Inf(-1)), math.MaxFloat32, -math.MaxFloat32,
				math.SmallestNonzeroFloat32, -math.SmallestNonzeroFloat32, float32(math.NaN()), 1, 1, 1})
		}
		want := slices.Clone(v)
		slices.Sort(want)
		Sort(v)
		for i := range v {
			if v[i] != want[i] && (v[i] == v[i] || want[i] == want[i]) {
				t.Fatalf("%d values: the one at %d is %v, want %v", n, i, v[i], want[i])
			}
		}
	}
}
