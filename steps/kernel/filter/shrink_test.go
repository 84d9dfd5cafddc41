package filter

import "testing"

// Means over whole squares, by hand; what is left at the edges is left out.
func TestShrink(t *testing.T) {
	src := []float32{1, 3, 5, 7, 9, 1, 3, 5, 7, 9, 0, 0, 0, 0, 0}
	for f, want := range map[int][]float32{1: src, 2: {2, 6}, 3: {2}} {
		dst := make([]float32, (5/f)*(3/f))
		Shrink(dst, src, 5, 3, f)
		for i := range want {
			if dst[i] != want[i] {
				t.Errorf("by %d: %v, want %v", f, dst, want)
				break
			}
		}
	}
	Shrink(nil, src, 5, 3, 6) // nothing is left
}
