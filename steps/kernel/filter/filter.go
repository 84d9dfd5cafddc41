// Package filter holds small linear filters on float32 planes of w by h
// pixels. Borders are mirrored about the outermost pixel's centre, which is not
// repeated. Except where it says so, a NaN spreads as far as the filter reaches.
// Output and input may be the same slice.
package filter

// reflect returns the index in 0…n-1 that i mirrors to.
func reflect(i, n int) int {
	if n == 1 {
		return 0
	}
	period := 2 * (n - 1)
	i %= period
	if i < 0 {
		i += period
	}
	if i >= n {
		i = period - i
	}
	return i
}

func sameSize(dst, src []float32, w, h int) {
	if len(src) < w*h || len(dst) < w*h {
		panic("filter: a plane is shorter than its width times height")
	}
}
