package detail

import "math"

// distance returns, for each pixel, the Euclidean distance in pixels to the
// nearest pixel that is set, exactly; w+h where none is (Meijster, Roerdink &
// Hesselink 2000, "A general algorithm for computing distance transforms in
// linear time").
func distance(set []bool, w, h int) []float32 {
	g := columnDistance(set, w, h)
	out := make([]float32, w*h)
	at, from := make([]int, w), make([]int, w) // of the row's parabolas: vertex, first pixel
	for y := range h {
		row := g[y*w : (y+1)*w]
		f := func(x, i int) int { return (x-i)*(x-i) + row[i]*row[i] }
		n := 0
		at[0], from[0] = 0, 0
		for u := 1; u < w; u++ {
			for n >= 0 && f(from[n], at[n]) > f(from[n], u) {
				n--
			}
			if n < 0 {
				n, at[0] = 0, u
				continue
			}
			i := at[n]
			// The first pixel from which u's parabola is the lower one.
			if x := 1 + (u*u-i*i+row[u]*row[u]-row[i]*row[i])/(2*(u-i)); x < w {
				n++
				at[n], from[n] = u, x
			}
		}
		for x := w - 1; x >= 0; x-- {
			out[y*w+x] = float32(math.Sqrt(float64(f(x, at[n]))))
			if x == from[n] {
				n--
			}
		}
	}
	return out
}

// columnDistance returns the distance to the nearest set pixel of the same
// column, w+h where there is none.
func columnDistance(set []bool, w, h int) []int {
	far := w + h
	g := make([]int, w*h)
	for x := range w {
		d := far
		for y := range h {
			if d = min(d+1, far); set[y*w+x] {
				d = 0
			}
			g[y*w+x] = d
		}
		d = far
		for y := h - 1; y >= 0; y-- {
			d = min(d+1, g[y*w+x])
			g[y*w+x] = d
		}
	}
	return g
}
