package panels

import (
	"cmp"
	"math"
	"slices"

	"plenilune/steps/kernel/plane"
)

// uncover makes NaN of what a picture does not show: a pixel of which a channel is NaN, and fields of zeros at its border that
// programs leave where frames did not reach. A sky that was cut at black is a field of zeros, too; it fades into its
// neighbours, and the border of a field that was filled in does not. lsb is a step of whole numbers, sigma the noise, both
// in units of the samples. It returns the share of pixels that are not shown.
func uncover(m *plane.Image, lsb, sigma float64) float64 {
	nan := float32(math.NaN())
	out, filled := make([]bool, m.W*m.H), make([]bool, m.W*m.H)
	zero := make([]bool, m.W*m.H)
	for i := range out {
		zero[i] = true
		for _, p := range m.Pix {
			out[i] = out[i] || p[i] != p[i]
			zero[i] = zero[i] && p[i] == 0
		}
	}
	floor := max(fadeSteps*lsb, fadeSigmas*sigma)
	lum := m.Luminance()
	for _, field := range borderFields(zero, m.W, m.H) {
		if edgeOf(field, zero, out, lum, m.W, m.H) > floor {
			for _, i := range field {
				filled[i] = true
			}
		}
	}
	for i, f := range grown(filled, m.W, m.H) {
		out[i] = out[i] || f
	}
	n := 0
	for i, o := range out {
		if o {
			n++
			for _, p := range m.Pix {
				p[i] = nan
			}
		}
	}
	return float64(n) / float64(len(out))
}

// What the neighbours of a field of zeros at least have, in the median, if it was filled in.
const (
	fadeSteps  = 3
	fadeSigmas = 3
)

// borderFields lists the fields of members that touch the border, each as its pixels.
func borderFields(member []bool, w, h int) (out [][]int) {
	seen := make([]bool, len(member))
	visit := func(first int) {
		if !member[first] || seen[first] {
			return
		}
		seen[first] = true
		field := []int{first}
		for k := 0; k < len(field); k++ {
			eachBeside(field[k], w, h, func(i int) {
				if member[i] && !seen[i] {
					seen[i] = true
					field = append(field, i)
				}
			})
		}
		out = append(out, field)
	}
	for x := range w {
		visit(x)
		visit((h-1)*w + x)
	}
	for y := range h {
		visit(y * w)
		visit(y*w + w - 1)
	}
	return out
}

// eachBeside calls fn with the pixels that share a side with one.
func eachBeside(i, w, h int, fn func(i int)) {
	if x := i % w; x > 0 {
		fn(i - 1)
	}
	if i%w < w-1 {
		fn(i + 1)
	}
	if i >= w {
		fn(i - w)
	}
	if i < (h-1)*w {
		fn(i + w)
	}
}

// edgeOf is how bright the neighbours of a field are in the median, 0 if it has none.
func edgeOf(field []int, zero, unknown []bool, lum []float32, w, h int) float64 {
	var beside []float32
	for _, i := range field {
		eachBeside(i, w, h, func(k int) {
			if !zero[k] && !unknown[k] {
				beside = append(beside, lum[k])
			}
		})
	}
	if len(beside) == 0 {
		return 0
	}
	slices.SortFunc(beside, cmp.Compare[float32])
	return float64(beside[len(beside)/2])
}

// grown is a set with the pixels about it: those that a resampling mixed with nothing.
func grown(set []bool, w, h int) []bool {
	out := slices.Clone(set)
	for i, o := range set {
		if !o {
			continue
		}
		x, y := i%w, i/w
		for v := max(0, y-1); v <= min(h-1, y+1); v++ {
			for u := max(0, x-1); u <= min(w-1, x+1); u++ {
				out[v*w+u] = true
			}
		}
	}
	return out
}
