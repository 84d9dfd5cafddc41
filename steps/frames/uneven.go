package frames

import (
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/solve"
)

const (
	unevenSide  = 16 // blocks across, at most
	unevenTerms = 15 // of a polynomial of the fourth degree in x and y
)

// unevenness returns how far the brightness of an evenly lit field strays from a
// smooth fall towards the corners: the robust deviation, in the picture's own
// units, of the means of blocks from a polynomial of the fourth degree. Dust, which
// darkens a few blocks, hardly counts; a picture of something does. Blocks are of
// an even number of pixels, so that every colour of a mosaic has its share.
func unevenness(img *plane.Image) float64 {
	side := max(2, (max(img.W, img.H)+unevenSide-1)/unevenSide)
	side += side % 2
	nx, ny := img.W/side, img.H/side
	if nx*ny < 3*unevenTerms {
		return 0 // too small to tell
	}
	var terms, level []float64
	for by := range ny {
		for bx := range nx {
			x, y := float64(2*bx+1)/float64(nx)-1, float64(2*by+1)/float64(ny)-1
			terms = append(terms, powers(x, y)...)
			level = append(level, blockMean(img, bx*side, by*side, side))
		}
	}
	c, _, err := solve.LeastSquares(terms, level, unevenTerms)
	if err != nil {
		return 0 // blocks in one row: nothing to fit
	}
	for i := range level {
		fit := 0.0
		for k, v := range terms[i*unevenTerms:][:unevenTerms] {
			fit += float64(c[k] * v)
		}
		level[i] -= fit
	}
	return robust.Sigma(level)
}

// powers lists x^i·y^j of all i + j ≤ 4.
func powers(x, y float64) []float64 {
	out := make([]float64, 0, unevenTerms)
	for i, px := 0, 1.0; i <= 4; i, px = i+1, px*x {
		for j, v := 0, px; i+j <= 4; j, v = j+1, v*y {
			out = append(out, v)
		}
	}
	return out
}

func blockMean(img *plane.Image, x0, y0, side int) float64 {
	sum := 0.0
	for c := range img.Pix {
		for y := y0; y < y0+side; y++ {
			for _, v := range img.Row(c, y)[x0 : x0+side] {
				sum += float64(v)
			}
		}
	}
	return sum / float64(side*side*len(img.Pix))
}
