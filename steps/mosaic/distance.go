package mosaic

import (
	"math"
	"slices"
)

// distance returns, for every pixel under the mask, how far the nearest pixel
// without data or the picture's border is: the exact squared distance transform
// in two passes (Felzenszwalb & Huttenlocher 2012), and its root. A pixel on the
// border has distance 1; holes have 0.
func distance(mask []float32, w, h int) []float32 {
	out := make([]float32, w*h)
	if !slices.Contains(mask, 0) {
		for i := range out {
			x, y := i%w, i/w
			out[i] = float32(min(x+1, y+1, w-x, h-y))
		}
		return out
	}
	// Pass 1: vertical distance to a hole, the outside counting as one.
	for x := range w {
		d := 0
		for y := range h {
			if d++; mask[y*w+x] == 0 {
				d = 0
			}
			out[y*w+x] = float32(d)
		}
		d = 0
		for y := h - 1; y >= 0; y-- {
			if d++; mask[y*w+x] == 0 {
				d = 0
			}
			out[y*w+x] = min(out[y*w+x], float32(d))
		}
	}
	// Pass 2: the lower envelope of the parabolas along each row, with one of
	// height zero just outside at either end.
	f := make([]float64, w+2)
	at, from := make([]int, w+2), make([]float64, w+3)
	for y := range h {
		row := out[y*w : (y+1)*w]
		for x, v := range row {
			f[x+1] = float64(v) * float64(v)
		}
		envelope(f, at, from)
		k := 0
		for x := range row {
			q := x + 1
			for from[k+1] < float64(q) {
				k++
			}
			d := float64(q - at[k])
			row[x] = float32(math.Sqrt(float64(d*d) + f[at[k]]))
		}
	}
	return out
}

// envelope finds the lower envelope of the parabolas (q−i)² + f[i]: parabola at[k] is
// the lowest between from[k] and from[k+1].
func envelope(f []float64, at []int, from []float64) {
	k := 0
	at[0], from[0], from[1] = 0, math.Inf(-1), math.Inf(1)
	for q := 1; q < len(f); q++ {
		s := meet(f, q, at[k])
		for s <= from[k] {
			k--
			s = meet(f, q, at[k])
		}
		k++
		at[k], from[k], from[k+1] = q, s, math.Inf(1)
	}
}

func meet(f []float64, q, p int) float64 {
	return ((f[q] + float64(q*q)) - (f[p] + float64(p*p))) / float64(2*(q-p))
}
