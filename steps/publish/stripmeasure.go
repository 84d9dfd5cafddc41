package publish

import (
	"image"
	"math"

	"plenilune/steps/kernel/decorrelation"
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
// greatest: that of 2 to 8 px, its strongest tenth counted as no more than the
// rest, so that neither the limb nor one bright crater decides. A square with much
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
	for i, v := range tmp {
		d := broad[i] - v
		detail[i] = float32(math.Abs(float64(d)))
	}
	limit := float32(robust.Quantile(detail, 0.9))
	for i, v := range detail {
		detail[i] = min(v, limit)
	}
	return best(sums(detail, w, h), sums(ground, w, h), sums(missing, w, h), w, h, size)
}

// best looks at squares an eighth of a side apart.
func best(detail, ground, missing []float64, w, h, size int) (x, y int) {
	step := max(1, size/8)
	top := -1.0
	for y0 := 0; y0+size <= h; y0 += step {
		for x0 := 0; x0+size <= w; x0 += step {
			v := boxSum(detail, w, x0, y0, size)
			if share := boxSum(ground, w, x0, y0, size) / float64(size*size); share < 0.9 {
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

// tileFigures are what a crop of a linear picture is found to be.
type tileFigures struct {
	DetailPx float64 // half the period of the finest pattern that stands out of the noise; 0 unknown
	Smooth   bool    // there is lit ground to tell the noise from
	NoisePct float64 // standard deviation of the finest noise, against the crop's mean brightness
}

// measureTile measures a square crop without gaps.
func measureTile(lum []float32, size int) tileFigures {
	var f tileFigures
	if limit := decorrelation.Limit(lum, size, size); limit > 0 {
		f.DetailPx = 0.5 / limit
	}
	mean := 0.0
	for _, v := range lum {
		mean += float64(v)
	}
	mean /= float64(len(lum))
	if noise, ok := quietNoise(lum, size, mean); ok && mean > 0 {
		f.NoisePct, f.Smooth = 100*noise/mean, true
	}
	return f
}

// litShare is how bright a block must be, against the crop's mean, to count as lit.
const litShare = 0.3

// quietNoise is the standard deviation of the noise in the quietest tenth of the
// lit blocks of a crop, from its finest level of scale: in the others detail adds
// to it.
func quietNoise(lum []float32, size int, mean float64) (sigma float64, ok bool) {
	const block = 16
	smooth := make([]float32, len(lum))
	wavelet.Smooth(smooth, lum, make([]float32, len(lum)), size, size, 1)
	var all []float64
	own := make([]float32, 0, block*block)
	for y0 := 0; y0+block <= size; y0 += block {
		for x0 := 0; x0+block <= size; x0 += block {
			own = own[:0]
			light := 0.0
			for y := y0; y < y0+block; y++ {
				for i := y*size + x0; i < y*size+x0+block; i++ {
					own = append(own, lum[i]-smooth[i])
					light += float64(lum[i])
				}
			}
			if light > float64(litShare*mean*block*block) {
				all = append(all, robust.Sigma(own)/wavelet.NoiseFactor(0))
			}
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	return robust.Quantile(all, 0.1), true
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
