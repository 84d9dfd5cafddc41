package deconvolve

import "plenilune/steps/kernel/lanes"

// Border says what lies beyond the edge of a picture.
type Border int

const (
	Mirror Border = iota // the picture mirrored, the outermost pixel not repeated
	Zero                 // nothing
	Wrap                 // the opposite side
)

// Term is one part of a Separable: a symmetric kernel along rows and columns,
// given from its centre outwards, and its weight in the sum.
type Term[T Float] struct {
	Weight T
	Taps   []T
}

// Separable is a blur whose spread is a sum of few separable kernels, as a sum of
// Gaussians is (Emsellem, Monnet & Bacon 1994, Astron. Astrophys. 285:723). All
// terms being symmetric, it is its own transpose up to what happens at the border.
type Separable[T Float] struct {
	W, H   int
	Terms  []Term[T]
	Border Border
	// Each runs fn for 0…n−1, in any order or several at once; nil runs them one
	// after the other. The result does not depend on it.
	Each func(n int, fn func(i int))
}

// bandRows is how many rows are computed at a time.
const bandRows = 128

// Blur writes the convolution of src into dst, another slice.
func (s *Separable[T]) Blur(dst, src []T) {
	s.bands(func(y0, y1 int) { s.rows(dst[y0*s.W:y1*s.W], src, y0, y1) })
}

// bands gives fn bands of rows, y0 to y1, as Each runs them.
func (s *Separable[T]) bands(fn func(y0, y1 int)) {
	each := s.Each
	if each == nil {
		each = func(n int, fn func(i int)) {
			for i := range n {
				fn(i)
			}
		}
	}
	each((s.H+bandRows-1)/bandRows, func(k int) { fn(k*bandRows, min((k+1)*bandRows, s.H)) })
}

// rows writes rows y0 to y1 of the convolution of src into dst, which holds these alone.
func (s *Separable[T]) rows(dst, src []T, y0, y1 int) {
	clear(dst)
	longest := 0
	for _, t := range s.Terms {
		longest = max(longest, len(t.Taps)-1)
	}
	along := make([]T, (y1-y0+2*longest)*s.W) // filtered along rows, as many more at either end as there are taps
	for _, t := range s.Terms {
		k := len(t.Taps) - 1
		row := func(y int) []T { return along[(y-y0+k)*s.W:][:s.W] }
		for y := y0 - k; y < y1+k; y++ {
			if from := s.Border.index(y, s.H); from >= 0 {
				s.row(row(y), src[from*s.W:][:s.W], t)
			} else {
				clear(row(y))
			}
		}
		for y := y0; y < y1; y++ {
			out := dst[(y-y0)*s.W:][:s.W]
			addScaled(out, row(y), t.Taps[0])
			i := 1
			for ; i < k; i += 2 {
				addFour(out, row(y-i), row(y+i), row(y-i-1), row(y+i+1), t.Taps[i], t.Taps[i+1])
			}
			if i == k {
				addTwo(out, row(y-i), row(y+i), t.Taps[i])
			}
		}
	}
}

// row writes the weighted convolution of one row into out.
func (s *Separable[T]) row(out, src []T, t Term[T]) {
	n, k := len(src), len(t.Taps)-1
	lo, hi := min(k, n), max(n-k, min(k, n))
	for x := range lo {
		out[x] = s.rowAt(src, t.Taps, x)
	}
	for x := hi; x < n; x++ {
		out[x] = s.rowAt(src, t.Taps, x)
	}
	if lo < hi {
		mid := out[lo:hi]
		clear(mid)
		addScaled(mid, src[lo:], t.Taps[0])
		i := 1
		for ; i < k; i += 2 {
			addFour(mid, src[lo-i:], src[lo+i:], src[lo-i-1:], src[lo+i+1:], t.Taps[i], t.Taps[i+1])
		}
		if i == k {
			addTwo(mid, src[lo-i:], src[lo+i:], t.Taps[i])
		}
	}
	for x := range out {
		out[x] *= t.Weight
	}
}

// rowAt is one value near the border, in the order of sums that row has.
func (s *Separable[T]) rowAt(src, taps []T, x int) T {
	n, k := len(src), len(taps)-1
	pair := func(i int) (sum T) {
		if j := s.Border.index(x-i, n); j >= 0 {
			sum = src[j]
		}
		if j := s.Border.index(x+i, n); j >= 0 {
			sum += src[j]
		}
		return sum
	}
	sum := T(taps[0] * src[x])
	i := 1
	for ; i < k; i += 2 {
		sum += T(taps[i]*pair(i)) + T(taps[i+1]*pair(i+1))
	}
	if i == k {
		sum += T(taps[i] * pair(i))
	}
	return sum
}

// index returns which of n pixels stands at i, −1 for none.
func (b Border) index(i, n int) int {
	if i >= 0 && i < n {
		return i
	}
	switch {
	case b == Zero:
		return -1
	case b == Wrap:
		return ((i % n) + n) % n
	case n == 1:
		return 0
	}
	period := 2 * (n - 1)
	if i = ((i % period) + period) % period; i >= n {
		i = period - i
	}
	return i
}

func addScaled[T Float](out, a []T, k T) {
	a = a[:len(out)]
	for x := range out {
		out[x] += T(k * a[x])
	}
}

func addTwo[T Float](out, a, b []T, k T) {
	a, b = a[:len(out)], b[:len(out)]
	for x := range out {
		out[x] += T(k * (a[x] + b[x]))
	}
}

// addFour is two taps at a time, to touch the output half as often.
func addFour[T Float](out, a, b, c, d []T, k, l T) {
	if o, ok := any(out).([]float32); ok {
		single := func(v []T) []float32 { return any(v).([]float32) }
		lanes.AddPairs(o, single(a), single(b), single(c), single(d), float32(k), float32(l))
		return
	}
	a, b, c, d = a[:len(out)], b[:len(out)], c[:len(out)], d[:len(out)]
	for x := range out {
		out[x] += T(k*(a[x]+b[x])) + T(l*(c[x]+d[x]))
	}
}
