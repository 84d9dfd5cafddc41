package detail

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

const (
	mostIterations = 20
	// Iterating stops by itself when a step changes lit ground by less than this
	// share of the noise, rms: what further steps would bring is not seen in it.
	stopShare = 0.4
)

// unblur is a deconvolution under way.
type unblur struct {
	w, h     int
	data     []float32 // light above the sky, carried on over gaps, nowhere negative
	estimate []float32
	lit      []bool // ground that steps are judged by
	sigma    float64
	bright   float64
}

func newUnblur(lum []float32, w, h int, sigma float64) *unblur {
	q := robust.Quantiles(lum, 0.01, 0.99)
	u := &unblur{w: w, h: h, sigma: sigma, bright: q[1]}
	if !finite(u.bright) {
		return u
	}
	span := q[1] - q[0]
	// Light is counted from a little below the sky, so that the iteration does
	// not take noise for light that is missing; where no sky is in view, from none.
	zero := q[0] - float64(0.01*span)
	if q[0] > float64(0.2*q[1]) {
		zero = min(0, zero)
	}
	weight := make([]float32, w*h)
	for i, v := range lum {
		if v == v {
			weight[i] = 1
		}
	}
	u.data = carryOn(lum, weight, w, h)
	u.lit = make([]bool, w*h)
	least, limit := float32(1e-3*span), float32(zero+float64(0.1*span))
	for i, v := range u.data {
		u.lit[i] = weight[i] == 1 && v > limit
		u.data[i] = max(v-float32(zero), least)
	}
	if u.sigma == 0 {
		u.sigma = u.measureNoise(weight)
	}
	u.estimate = append([]float32(nil), u.data...)
	return u
}

// measureNoise looks at the finest level of what is given.
func (u *unblur) measureNoise(weight []float32) float64 {
	smooth, tmp := make([]float32, u.w*u.h), make([]float32, u.w*u.h)
	wavelet.Smooth(smooth, u.data, tmp, u.w, u.h, 1)
	for i, v := range u.data {
		tmp[i] = v - smooth[i]
	}
	return noiseSigma(tmp, u.w, u.h, func(i int) bool { return weight[i] == 1 }, func(i int) bool { return u.lit[i] })
}

// iterate takes n steps, or as many as the noise bears where n is 0, and returns
// their number. No step can be taken afterwards.
func (u *unblur) iterate(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int) int {
	defer func() { u.lit = nil }() // room for what follows
	if s == (deconvolve.Spread{}) {
		return 0
	}
	blur := deconvolve.NewBlur(s, u.w, u.h)
	blur.Each = func(n int, fn func(i int)) {
		_ = t.Each(ctx, n, func(i int) error { fn(i); return nil })
	}
	factor, scratch := make([]float32, u.w*u.h), make([]float32, u.w*u.h)
	most := n
	if n == 0 {
		most = mostIterations
	}
	for k := 1; k <= most && ctx.Err() == nil; k++ {
		deconvolve.Step(u.estimate, u.data, blur, factor, scratch)
		t.Progress(0.8 * float64(k) / float64(most))
		if n == 0 && u.change(factor) < float64(stopShare*u.sigma) {
			return k
		}
	}
	return most
}

// change is what a step has changed on lit ground, rms.
func (u *unblur) change(factor []float32) float64 {
	sum, n := 0.0, 0
	for y := range u.h {
		row := 0.0
		for i := y * u.w; i < (y+1)*u.w; i++ {
			if f := factor[i]; u.lit[i] && f > 0 {
				d := float64(u.estimate[i] - u.estimate[i]/f)
				row += float64(d * d)
				n++
			}
		}
		sum += row
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
