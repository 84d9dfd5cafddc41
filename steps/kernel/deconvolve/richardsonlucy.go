// Package deconvolve takes a known blur out of a picture, and finds the blur from
// the profile of an edge.
package deconvolve

// Float is what pictures are made of.
type Float interface{ float32 | float64 }

// Blur convolves pictures of one size with a point spread.
type Blur[T Float] interface {
	// Blur writes the convolution of src into dst, another slice.
	Blur(dst, src []T)
	// Back is the transpose of Blur: the convolution with the spread turned by
	// half a turn, for a symmetric spread the same.
	Back(dst, src []T)
}

// Step improves an estimate of the picture that was blurred into data once, by the
// iteration of Richardson (1972, J. Opt. Soc. Am. 62:55) and Lucy (1974, Astron. J.
// 79:745): e ← e · Bᵀ(d / Be). Of data and a first estimate that are nowhere
// negative the estimate stays so, its sum tends to that of the data as far as the
// blur keeps sums, and its likelihood under Poisson noise never falls. All slices
// are of one length; factor and scratch hold anything before, and factor
// afterwards holds what each pixel of the estimate has been multiplied by.
func Step[T Float](estimate, data []T, b Blur[T], factor, scratch []T) {
	b.Blur(scratch, estimate)
	for i, m := range scratch {
		if m > 0 {
			scratch[i] = data[i] / m
		} else {
			scratch[i] = 1 // nothing is known here: the model says no light at all
		}
	}
	b.Back(factor, scratch)
	for i, f := range factor {
		estimate[i] *= f
	}
}
