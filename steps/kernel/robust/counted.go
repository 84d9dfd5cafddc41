package robust

import (
	"iter"
	"math"
)

// Counted returns what Quantiles does of the values, which it goes through twice. It counts, by the upper half of their bits and then by
// the lower, rather than sort a copy: of a picture that would be as large as the picture.
func Counted(values iter.Seq[float32], q ...float64) []float64 {
	r := ranks{upper: make([]int, 1<<16), lower: make([][]int, 1<<16)}
	n := 0
	for x := range values {
		if x == x {
			r.upper[order(x)>>16]++
			n++
		}
	}
	out := make([]float64, len(q))
	if n == 0 {
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	at := func(q float64) float64 { return float64(min(max(q, 0), 1) * float64(n-1)) }
	for _, p := range q {
		k := int(at(p))
		r.want(k)
		r.want(min(k+1, n-1))
	}
	for x := range values {
		if o := order(x); r.lower[o>>16] != nil && x == x {
			r.lower[o>>16][o&0xffff]++
		}
	}
	for i, p := range q {
		k := int(at(p))
		lo, hi, f := r.get(k), r.get(min(k+1, n-1)), at(p)-float64(k)
		switch f {
		case 0:
			out[i] = lo
		case 0.5:
			out[i] = (lo + hi) / 2
		default:
			out[i] = lo + float64(f*(hi-lo))
		}
	}
	return out
}

// order returns bits that are ordered as the numbers are.
func order(x float32) uint32 {
	if x == 0 {
		return 1 << 31 // of either sign
	}
	b := math.Float32bits(x)
	if b>>31 == 1 {
		return ^b
	}
	return b | 1<<31
}

// ranks counts samples by their order: by the upper halves of its bits, and of some of these by the lower ones.
type ranks struct {
	upper []int
	lower [][]int
}

// half returns in which upper half the k-th smallest sample lies, from 0, and which it is there.
func (r *ranks) half(k int) (upper, rest int) {
	for k >= r.upper[upper] {
		k -= r.upper[upper]
		upper++
	}
	return upper, k
}

// want lets the lower halves be counted where the k-th smallest sample lies.
func (r *ranks) want(k int) {
	if u, _ := r.half(k); r.lower[u] == nil {
		r.lower[u] = make([]int, 1<<16)
	}
}

// get returns the k-th smallest sample.
func (r *ranks) get(k int) float64 {
	u, k := r.half(k)
	l := 0
	for k >= r.lower[u][l] {
		k -= r.lower[u][l]
		l++
	}
	o := uint32(u)<<16 | uint32(l)
	if o>>31 == 1 {
		o &^= 1 << 31
	} else {
		o = ^o
	}
	return float64(math.Float32frombits(o))
}
