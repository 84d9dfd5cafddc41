package filter

import (
	"math"

	"plenilune/steps/kernel/plane"
)

// Downscale returns src at w by h pixels, each the mean of the area it covers;
// w and h must not exceed src's. The mean is over what is there: a pixel is NaN
// only if less than half of its area has data. The picture's outer edges map to
// each other: output centre (x, y) lies at ((x+½)·W/w-½, (y+½)·H/h-½).
func Downscale(src *plane.Image, w, h int) *plane.Image {
	if w < 1 || h < 1 || w > src.W || h > src.H {
		panic("filter: Downscale to a larger or empty picture")
	}
	dst := plane.New(w, h, src.Channels())
	xs, ys := shares(src.W, w), shares(src.H, h)
	sum, weight := make([]float64, w), make([]float64, w)
	for c := range src.Pix {
		for y := range h {
			clear(sum)
			clear(weight)
			for _, r := range ys[y] {
				addRow(sum, weight, src.Row(c, r.at), xs, r.share)
			}
			out := dst.Row(c, y)
			for x := range out {
				if weight[x] >= 0.5 {
					out[x] = float32(sum[x] / weight[x])
				} else {
					out[x] = float32(math.NaN())
				}
			}
		}
	}
	return dst
}

// share is one source index and its part of an output cell; a cell's parts sum to 1.
type share struct {
	at    int
	share float64
}

func shares(from, to int) [][]share {
	out := make([][]share, to)
	for i := range out {
		// The cell covers from·i/to … from·(i+1)/to; integers keep this exact.
		for j := i * from / to; j*to < (i+1)*from; j++ {
			lo, hi := max(j*to, i*from), min((j+1)*to, (i+1)*from)
			out[i] = append(out[i], share{j, float64(hi-lo) / float64(from)})
		}
	}
	return out
}

func addRow(sum, weight []float64, row []float32, xs [][]share, k float64) {
	for x, list := range xs {
		for _, s := range list {
			if v := row[s.at]; v == v {
				a := float64(s.share * k)
				sum[x] += float64(a * float64(v))
				weight[x] += a
			}
		}
	}
}
