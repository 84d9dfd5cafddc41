package detail

import "math"

// farthest is as far as distances are told, in pixels.
const farthest = 255

// distance2 returns, for each pixel, the square of the Euclidean distance in
// pixels to the nearest pixel that is set, exactly, but nothing beyond that of
// farthest, which also stands where none is set (Meijster, Roerdink & Hesselink
// 2000, "A general algorithm for computing distance transforms in linear time").
func distance2(set []bool, w, h int) []uint16 {
	g := columnDistance(set, w, h)
	out := make([]uint16, w*h)
	at, from := make([]int, w), make([]int, w) // of the row's parabolas: vertex, first pixel
	for y := range h {
		row := g[y*w : (y+1)*w]
		square := func(i int) int { return int(row[i]) * int(row[i]) }
		f := func(x, i int) int { return (x-i)*(x-i) + square(i) }
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
			if x := 1 + (u*u-i*i+square(u)-square(i))/(2*(u-i)); x < w {
				n++
				at[n], from[n] = u, x
			}
		}
		for x := w - 1; x >= 0; x-- {
			out[y*w+x] = uint16(min(f(x, at[n]), farthest*farthest))
			if x == from[n] {
				n--
			}
		}
	}
	return out
}

// columnDistance returns the distance to the nearest set pixel of the same
// column, at most farthest.
func columnDistance(set []bool, w, h int) []uint8 {
	g := make([]uint8, w*h)
	near := make([]uint8, w) // of the row before
	pass := func(y int) {
		row, s := g[y*w:][:w], set[y*w:][:w]
		for x, d := range near {
			if d < farthest {
				d++
			}
			if s[x] {
				d = 0
			}
			row[x] = min(row[x], d)
			near[x] = row[x]
		}
	}
	for i := range g {
		g[i] = farthest
	}
	for i := range near {
		near[i] = farthest
	}
	for y := range h {
		pass(y)
	}
	for i := range near {
		near[i] = farthest
	}
	for y := h - 1; y >= 0; y-- {
		pass(y)
	}
	return g
}

// root returns the distance of which d2 is the square.
func root(d2 uint16) float32 { return float32(math.Sqrt(float64(d2))) }
