package publish

import (
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

func luminance(pix [][]float32) []float32 {
	return plane.Of(len(pix[0]), 1, pix...).Luminance()
}

// busiest returns the corner of the square of size pixels in which detail is
// greatest: that of 2 to 8 px against the brightness about it, as the eye sees it,
// so that the relief near the terminator counts as much as bright ground; its
// strongest tenth counted as no more than the rest, so that neither the limb nor one
// crater decides. A square with much
// sky, or with a place without data, is taken only where there is no other.
func busiest(lum []float32, w, h, size int) (x, y int) {
	q := robust.Quantiles(lum, 0.01, 0.99)
	lit := float32(q[0] + float64(0.1*(q[1]-q[0])))
	detail, ground, missing := make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
	for i, v := range lum {
		if v != v {
			v, missing[i] = float32(q[0]), 1
		}
		detail[i] = v
		if v > lit {
			ground[i] = 1
		}
	}
	broad, tmp := make([]float32, w*h), make([]float32, w*h)
	wavelet.Smooth(broad, detail, tmp, w, h, 1)
	wavelet.Smooth(detail, broad, tmp, w, h, 2)
	wavelet.Smooth(tmp, detail, make([]float32, w*h), w, h, 4)
	dim, sky := lit-float32(q[0]), float32(q[0])
	for i, v := range tmp {
		detail[i] = float32(math.Abs(float64(broad[i]-v))) / (max(v-sky, 0) + dim)
	}
	limit := float32(robust.Quantile(detail, 0.9))
	for i, v := range detail {
		detail[i] = min(v, limit)
	}
	return best(sums(detail, w, h), sums(ground, w, h), sums(missing, w, h), w, h, size)
}

// litLeast is how much of a square is to be lit ground.
const litLeast = 0.75

// best looks at squares an eighth of a side apart.
func best(detail, ground, missing []float64, w, h, size int) (x, y int) {
	step := max(1, size/8)
	top := -1.0
	for y0 := 0; y0+size <= h; y0 += step {
		for x0 := 0; x0+size <= w; x0 += step {
			v := boxSum(detail, w, x0, y0, size)
			if share := boxSum(ground, w, x0, y0, size) / float64(size*size); share < litLeast {
				v *= 0.1 * share
			}
			if boxSum(missing, w, x0, y0, size) > 0 {
				v *= 0.01
			}
			if v > top {
				top, x, y = v, x0, y0
			}
		}
	}
	return x, y
}

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

// follow returns where in a picture, by whole pixels, a square crop of another lies;
// ok is false where it is not found.
func follow(crop, in []float32, size, w, h int) (at image.Point, ok bool) {
	rough := func(v []float32, w, h int) []float32 {
		out := make([]float32, len(v))
		filter.GaussianFilled(out, v, w, h, 2, 0.5)
		return out
	}
	peaks := fourier.MaskedNCC(rough(in, w, h), w, h, rough(crop, size, size), size, size).Peaks(1, 0.5, 4)
	if len(peaks) == 0 || peaks[0].NCC < 0.5 {
		return at, false
	}
	return image.Pt(int(math.Round(-peaks[0].DX)), int(math.Round(-peaks[0].DY))), true
}
