package robust

import "math"

// Immerkaer returns the noise σ of a picture of w by h pixels, by a mask that
// leaves planes and edges out: σ = √(π/2)·Σ|I∗N| / (6(W-2)(H-2)) with N as
// FineAt has it (Immerkær 1996, CVIU 64:300). Places that
// touch a NaN do not count; with none left the answer is NaN.
func Immerkaer(img []float32, w, h int) float64 {
	sum, n := 0.0, 0
	for y := 1; y < h-1; y++ {
		a, b, c := img[(y-1)*w:y*w], img[y*w:(y+1)*w], img[(y+1)*w:(y+2)*w]
		row := 0.0
		for x := 1; x < w-1; x++ {
			v := FineAt(a, b, c, x)
			if v != v {
				continue
			}
			row += math.Abs(v)
			n++
		}
		sum += row
	}
	if n == 0 {
		return math.NaN()
	}
	return float64(math.Sqrt(math.Pi/2)*sum) / float64(6*n)
}

// FineAt is I∗N at place x, 1…len-2, of the middle one, b, of three rows, with
// N = [1 -2 1; -2 4 -2; 1 -2 1] (Immerkær 1996, CVIU 64:300), in the samples'
// units: 0 on planes and along edges, of standard deviation 6σ in noise of σ.
func FineAt(a, b, c []float32, x int) float64 {
	return float64(a[x-1]) + float64(a[x+1]) + float64(c[x-1]) + float64(c[x+1]) -
		2*(float64(a[x])+float64(c[x])+float64(b[x-1])+float64(b[x+1])-2*float64(b[x]))
}
