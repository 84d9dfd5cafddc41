// Package robust holds statistics that a few wild values do not move.
//
// No function reorders its input. NaNs are left out everywhere; of no values
// at all a location or scale is NaN.
package robust

import "math"

// Float is what the functions take.
type Float interface{ float32 | float64 }

// MADToSigma turns the median absolute deviation of normal data into its
// standard deviation: 1/Φ⁻¹(¾).
const MADToSigma = 1.482602218505602

// Median returns the middle value, of an even count the mean of the middle two.
func Median[T Float](v []T) float64 {
	return medianOwn(finite(v, nil))
}

// Quantile returns the q-quantile, 0 ≤ q ≤ 1, between order statistics on the
// straight line (type 7 of Hyndman & Fan 1996).
func Quantile[T Float](v []T, q float64) float64 {
	return quantileOwn(finite(v, nil), q)
}

// Quantiles returns Quantile for each q, for the cost of one copy.
func Quantiles[T Float](v []T, q ...float64) []float64 {
	own := finite(v, nil)
	out := make([]float64, len(q))
	for i := range q {
		out[i] = quantileOwn(own, q[i])
	}
	return out
}

// MAD returns the median and the median absolute deviation from it.
func MAD[T Float](v []T) (median, mad float64) {
	return madOwn(finite(v, nil))
}

// Sigma returns the standard deviation of normal data, through MAD.
func Sigma[T Float](v []T) float64 {
	_, d := MAD(v)
	return MADToSigma * d
}

// Scratch keeps the copy that the functions work on, for hot loops. The zero
// value is ready; it is for one goroutine.
type Scratch[T Float] struct{ own []T }

// Median is the function of that name.
func (s *Scratch[T]) Median(v []T) float64 {
	s.own = finite(v, s.own[:0])
	return medianOwn(s.own)
}

// MAD is the function of that name.
func (s *Scratch[T]) MAD(v []T) (median, mad float64) {
	s.own = finite(v, s.own[:0])
	return madOwn(s.own)
}

// Quantile is the function of that name.
func (s *Scratch[T]) Quantile(v []T, q float64) float64 {
	s.own = finite(v, s.own[:0])
	return quantileOwn(s.own, q)
}

func finite[T Float](v, own []T) []T {
	if own == nil {
		own = make([]T, 0, len(v))
	}
	for _, x := range v {
		if x == x {
			own = append(own, x)
		}
	}
	return own
}

func medianOwn[T Float](own []T) float64 { return quantileOwn(own, 0.5) }

func quantileOwn[T Float](own []T, q float64) float64 {
	n := len(own)
	if n == 0 {
		return math.NaN()
	}
	at := float64(min(max(q, 0), 1) * float64(n-1))
	k := int(at)
	lo := float64(Select(own, k))
	f := at - float64(k)
	if f == 0 || k+1 >= n {
		return lo
	}
	hi := own[k+1] // the rest is ≥ the k-th now
	for _, x := range own[k+2:] {
		hi = min(hi, x)
	}
	if f == 0.5 {
		return (lo + float64(hi)) / 2
	}
	return lo + float64(f*(float64(hi)-lo))
}

func madOwn[T Float](own []T) (median, mad float64) {
	median = medianOwn(own)
	m := T(median)
	for i, x := range own {
		d := x - m
		if d < 0 {
			d = -d
		}
		own[i] = d
	}
	return median, medianOwn(own)
}

// Select reorders v so that v[k] is the k-th smallest, nothing before it is
// larger and nothing after it smaller, and returns it. There must be no NaN.
// (Hoare 1961, pivot from the middle of three; always the same order.)
func Select[T Float](v []T, k int) T {
	lo, hi := 0, len(v)-1
	for lo < hi {
		p := middle(v[lo], v[lo+(hi-lo)/2], v[hi])
		i, j := lo, hi
		for i <= j {
			for v[i] < p {
				i++
			}
			for v[j] > p {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}

func middle[T Float](a, b, c T) T {
	return max(min(a, b), min(max(a, b), c))
}
