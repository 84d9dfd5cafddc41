// Package deconvolve takes a known blur out of a picture, and finds the blur from
// the profile of an edge.
package deconvolve

// Float is what pictures are made of.
type Float interface{ float32 | float64 }

// Step improves an estimate of the picture that was blurred into data once, by the
// iteration of Richardson (1972, J. Opt. Soc. Am. 62:55) and Lucy (1974, Astron. J.
// 79:745): e ← e · Bᵀ(d / Be). Of data and a first estimate that are nowhere
// negative the estimate stays so, its sum tends to that of the data as far as the
// blur keeps sums, and its likelihood under Poisson noise never falls. All slices
// are of b's size; ratio holds anything before and after.
//
// after, unless nil, is told of bands of rows, y0 to y1, of the estimate that have
// been improved, several at once where b.Each does so, and what each of their
// pixels was multiplied by.
func Step[T Float](estimate, data, ratio []T, b *Separable[T], after func(y0, y1 int, factor []T)) {
	b.bands(func(y0, y1 int) {
		own, d := ratio[y0*b.W:y1*b.W], data[y0*b.W:y1*b.W]
		b.rows(own, estimate, y0, y1)
		for i, m := range own {
			if m > 0 {
				own[i] = d[i] / m
			} else {
				own[i] = 1 // nothing is known here: the model says no light at all
			}
		}
	})
	// A symmetric blur is its own transpose.
	b.bands(func(y0, y1 int) {
		factor := make([]T, (y1-y0)*b.W)
		b.rows(factor, ratio, y0, y1)
		own := estimate[y0*b.W : y1*b.W]
		for i, f := range factor {
			own[i] *= f
		}
		if after != nil {
			after(y0, y1, factor)
		}
	})
}
