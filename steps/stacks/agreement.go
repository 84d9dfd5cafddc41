package stacks

import "plenilune/steps/kernel/frc"

// agreement returns how alike the two halves of a channel are, by frequency in cycles a pixel of the stack; nil if that
// cannot be told.
func agreement(s *sums, ch int) frc.Curve {
	p, q, cv := s.picture(&s.half[0], ch), s.picture(&s.half[1], ch), s.c
	x0, y0, x1, y1 := knownWindow(p, q, cv)
	w, h := x1-x0, y1-y0
	if w <= 0 || h <= 0 {
		return nil
	}
	cut := func(src []float32) []float32 {
		out := make([]float32, 0, w*h)
		for y := y0; y < y1; y++ {
			out = append(out, src[y*cv.W+x0:y*cv.W+x1]...)
		}
		return out
	}
	return frc.Correlate(cut(p), cut(q), w, h)
}

// knownWindow returns a window in which both pictures are known everywhere, by taking off the border line with the
// largest part that is not, again and again; it is empty if nothing is left.
func knownWindow(p, q []float32, cv canvas) (x0, y0, x1, y1 int) {
	unknown := make([]int, (cv.W+1)*(cv.H+1)) // above and left of a place
	for y := range cv.H {
		row := 0
		for x := range cv.W {
			if i := y*cv.W + x; p[i] != p[i] || q[i] != q[i] {
				row++
			}
			unknown[(y+1)*(cv.W+1)+x+1] = unknown[y*(cv.W+1)+x+1] + row
		}
	}
	in := func(x0, y0, x1, y1 int) int {
		k := cv.W + 1
		return unknown[y1*k+x1] - unknown[y0*k+x1] - unknown[y1*k+x0] + unknown[y0*k+x0]
	}
	x0, y0, x1, y1 = 0, 0, cv.W, cv.H
	for x0 < x1 && y0 < y1 && in(x0, y0, x1, y1) > 0 {
		w, h := float64(x1-x0), float64(y1-y0)
		sides := [4]float64{float64(in(x0, y0, x0+1, y1)) / h, float64(in(x1-1, y0, x1, y1)) / h,
			float64(in(x0, y0, x1, y0+1)) / w, float64(in(x0, y1-1, x1, y1)) / w}
		worst := 0
		for k, s := range sides {
			if s > sides[worst] {
				worst = k
			}
		}
		switch worst {
		case 0:
			x0++
		case 1:
			x1--
		case 2:
			y0++
		default:
			y1--
		}
	}
	return x0, y0, x1, y1
}
