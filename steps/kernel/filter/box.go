package filter

// Box writes into dst the mean over (2r+1)² pixels of src. Sums run in
// float64, so that a long row loses nothing.
func Box(dst, src []float32, w, h, r int) {
	sameSize(dst, src, w, h)
	tmp := make([]float64, w*h)
	for y := range h {
		row, out := src[y*w:(y+1)*w], tmp[y*w:(y+1)*w]
		sum := 0.0
		for i := -r; i <= r; i++ {
			sum += float64(row[reflect(i, w)])
		}
		for x := range out {
			out[x] = sum
			sum += float64(row[reflect(x+r+1, w)])
			sum -= float64(row[reflect(x-r, w)])
		}
	}
	col := make([]float64, w)
	for i := -r; i <= r; i++ {
		for x, v := range tmp[reflect(i, h)*w:][:w] {
			col[x] += v
		}
	}
	k := 1 / float64((2*r+1)*(2*r+1))
	for y := range h {
		out := dst[y*w : (y+1)*w]
		in, gone := tmp[reflect(y+r+1, h)*w:][:w], tmp[reflect(y-r, h)*w:][:w]
		for x := range out {
			out[x] = float32(col[x] * k)
			col[x] += in[x]
			col[x] -= gone[x]
		}
	}
}
