package robust

import (
	"math"
	"slices"
)

// radixFrom is how many values are sorted faster by their digits than by comparing.
const radixFrom = 1 << 14

// Sort puts values in rising order, NaNs first, as slices.Sort does but in time
// proportional to their number: by the digits of their bits, least significant first
// (Knuth 1998, The Art of Computer Programming 3, 5.2.5), which rise with the value
// once those of negative ones are turned. −0 stands before 0.
func Sort(v []float32) {
	if len(v) < radixFrom {
		slices.Sort(v)
		return
	}
	const digit, passes = 11, 3
	a, b := make([]uint32, len(v)), make([]uint32, len(v))
	var count [passes][1 << digit]int
	for i, x := range v {
		k := math.Float32bits(x)
		switch {
		case x != x:
			k = 0
		case k>>31 == 1:
			k = ^k
		default:
			k |= 1 << 31
		}
		a[i] = k
		for p := range count {
			count[p][k>>(p*digit)&(1<<digit-1)]++
		}
	}
	for p := range count {
		at := 0
		for d, n := range count[p] {
			count[p][d], at = at, at+n
		}
		for _, k := range a {
			d := k >> (p * digit) & (1<<digit - 1)
			b[count[p][d]] = k
			count[p][d]++
		}
		a, b = b, a
	}
	for i, k := range a {
		switch {
		case k == 0:
			v[i] = float32(math.NaN())
		case k>>31 == 1:
			v[i] = math.Float32frombits(k &^ (1 << 31))
		default:
			v[i] = math.Float32frombits(^k)
		}
	}
}
