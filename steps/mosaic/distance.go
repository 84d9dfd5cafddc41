package mosaic

import (
	"math"
	"slices"
)

// distance returns, for every pixel under the mask, how far the nearest pixel
// without data or the picture's border is: the exact squared distance transform
// in two passes, along columns and rows (Felzenszwalb & Huttenlocher 2012), and its root. A pixel on the
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
	columnDistance(out, mask, w, h)
	// The lower envelope of the parabolas along each row, with one of
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

// columnDistance is how far the nearest pixel without data above or below is, beyond the border being such.
func columnDistance(out, mask []float32, w, h int) {
	above := make([]float32, w)
	for y := range h {
		row, m := out[y*w:][:w], mask[y*w:][:w]
		for x, d := range above {
			if row[x] = d + 1; m[x] == 0 {
				row[x] = 0
			}
		}
		above = row
	}
	below := make([]float32, w)
	for y := h - 1; y >= 0; y-- {
		row := out[y*w:][:w]
		for x, d := range below {
			row[x] = min(row[x], d+1)
		}
		below = row
	}
}

// distanceWithin is distance where it is less than most, and most where it is not.
func distanceWithin(mask []float32, w, h int, most float32) []float32 {
	out := make([]float32, w*h)
	columnDistance(out, mask, w, h)
	reach := int(math.Ceil(float64(most))) - 1 // from how many columns away a hole is near
	square := make([]float32, w+2)             // the outside, a row, the outside
	for y := range h {
		row := out[y*w:][:w]
		for x, d := range row {
			square[x+1] = min(d*d, most*most)
			row[x] = square[x+1]
		}
		for q, f := range square {
			if f >= most*most {
				continue
			}
			for x := max(0, q-1-reach); x < min(w, q+reach); x++ {
				row[x] = min(row[x], f+float32((x+1-q)*(x+1-q)))
			}
		}
		for x, d := range row {
			row[x] = float32(math.Sqrt(float64(d)))
		}
	}
	return out
}
