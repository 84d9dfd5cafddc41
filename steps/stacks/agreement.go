package stacks

import "plenilune/steps/kernel/frc"

// halves are one channel of a stack's two halves, and the window in which both are known everywhere.
type halves struct {
	a, b           []float32
	cv             canvas
	x0, y0, x1, y1 int
}

func halvesOf(s *sums, ch int) halves {
	h := halves{a: s.picture(&s.half[0], ch), b: s.picture(&s.half[1], ch), cv: s.c}
	h.x0, h.y0, h.x1, h.y1 = knownWindow(h.a, h.b, h.cv)
	return h
}

// cut returns what both show from (x, y) on.
func (h halves) cut(x, y, w, ht int) (a, b []float32) {
	a, b = make([]float32, 0, w*ht), make([]float32, 0, w*ht)
	for row := y; row < y+ht; row++ {
		at := row*h.cv.W + x
		a, b = append(a, h.a[at:at+w]...), append(b, h.b[at:at+w]...)
	}
	return a, b
}

// agreement returns how alike the halves are, by frequency in cycles a pixel of the stack; nil if that cannot be told.
func (h halves) agreement() frc.Curve {
	w, ht := h.x1-h.x0, h.y1-h.y0
	if w <= 0 || ht <= 0 {
		return nil
	}
	a, b := h.cut(h.x0, h.y0, w, ht)
	return frc.Correlate(a, b, w, ht)
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
