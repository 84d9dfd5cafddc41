package publish

import (
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

// sums is the table of sums over all rectangles from the first corner, of w+1 by h+1 entries.
func sums(v []float32, w, h int) []float64 {
	out := make([]float64, (w+1)*(h+1))
	for y := range h {
		row := 0.0
		for x := range w {
			row += float64(v[y*w+x])
			out[(y+1)*(w+1)+x+1] = out[y*(w+1)+x+1] + row
		}
	}
	return out
}

func boxSum(s []float64, w, x, y, size int) float64 {
	at := func(x, y int) float64 { return s[y*(w+1)+x] }
	return at(x+size, y+size) - at(x, y+size) - at(x+size, y) + at(x, y)
}

// noiseSquare and noiseAcross say of which squares of a picture, and how many of them
// along a side, the noise is told: enough to meet smooth ground, few enough to be read
// in a moment.
const (
	noiseSquare = 128 // px
	noiseAcross = 8
	noiseBlock  = 16 // px, the blocks of a square
	// How bright a block must be, against the bright ones, to count as lit.
	noiseLit = 0.25
)

// noisePct returns the standard deviation of a linear picture's finest noise where lit
// ground is smoothest, in per cent of the brightness there: that of the quietest
// twentieth of blocks, since in the others detail adds to it. ok is false without lit
// ground.
func noisePct(p *pipeline.PlaneReader) (pct float64, ok bool, err error) {
	w, h, _ := p.Size()
	var light, sigma []float64
	for _, y := range spaced(h) {
		for _, x := range spaced(w) {
			r := image.Rect(x, y, x+noiseSquare, y+noiseSquare).Intersect(image.Rect(0, 0, w, h))
			pix, err := cropOf(p, r)
			if err != nil {
				return 0, false, err
			}
			l, s := blocks(luminance(pix), r.Dx(), r.Dy())
			light, sigma = append(light, l...), append(sigma, s...)
		}
	}
	if len(light) == 0 {
		return 0, false, nil
	}
	least := noiseLit * robust.Quantile(light, 0.95)
	var share []float64
	for i, l := range light {
		if l > least && l > 0 {
			share = append(share, sigma[i]/l)
		}
	}
	if len(share) == 0 {
		return 0, false, nil
	}
	return 100 * robust.Quantile(share, 0.05), true, nil
}

// spaced returns where squares begin along a side of n pixels.
func spaced(n int) []int {
	k := max(1, min(noiseAcross, n/noiseSquare))
	out := make([]int, k)
	for i := range out {
		out[i] = max(0, (2*i+1)*n/(2*k)-noiseSquare/2)
	}
	return out
}

// blocks returns the mean of each block of a picture and the standard deviation of its
// finest level of scale; blocks that lack data are left out.
func blocks(lum []float32, w, h int) (light, sigma []float64) {
	smooth := make([]float32, len(lum))
	wavelet.Smooth(smooth, lum, make([]float32, len(lum)), w, h, 1)
	own := make([]float32, 0, noiseBlock*noiseBlock)
	for y0 := 0; y0+noiseBlock <= h; y0 += noiseBlock {
		for x0 := 0; x0+noiseBlock <= w; x0 += noiseBlock {
			own = own[:0]
			sum := 0.0
			for y := y0; y < y0+noiseBlock; y++ {
				for i := y*w + x0; i < y*w+x0+noiseBlock; i++ {
					own = append(own, lum[i]-smooth[i])
					sum += float64(lum[i])
				}
			}
			if mean := sum / (noiseBlock * noiseBlock); mean == mean {
				light, sigma = append(light, mean), append(sigma, robust.Sigma(own)/wavelet.NoiseFactor(0))
			}
		}
	}
	return light, sigma
}
