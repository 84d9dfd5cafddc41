package detail

import (
	"context"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/robust"
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
	ratio    []float32 // of data to the estimate blurred; anything, after the last step
	lit      []bool    // ground that steps are judged by
	sigma    float64
	bright   float64
	typical  float64 // the middle one of the weights; 0 without weights
}

// readUnblur begins with a part's picture. Of its noise sigma is known, or 0.
func readUnblur(ctx context.Context, t *pipeline.Task, sigma float64) (*unblur, error) {
	lum, w, h, err := readLuminance(ctx, t)
	if err != nil {
		return nil, err
	}
	q := robust.Counted(slices.Values(lum), 0.01, 0.99)
	u := &unblur{w: w, h: h, sigma: sigma, bright: q[1]}
	if !finite(u.bright) {
		return nil, errNoData
	}
	if u.typical, err = weightMedian(t, lum); err != nil {
		return nil, err
	}
	span := q[1] - q[0]
	// Light is counted from a little below the sky, so that the iteration does
	// not take noise for light that is missing; where no sky is in view, from none.
	zero := q[0] - float64(0.01*span)
	if q[0] > float64(0.2*q[1]) {
		zero = min(0, zero)
	}
	known := make([]bool, w*h)
	for i, v := range lum {
		known[i] = v == v
	}
	carryOn(lum, nil, w, h)
	u.data, u.lit = lum, make([]bool, w*h)
	least, limit := float32(1e-3*span), float32(zero+float64(0.1*span))
	for i, v := range u.data {
		u.lit[i] = known[i] && v > limit
		u.data[i] = max(v-float32(zero), least)
	}
	if u.sigma == 0 {
		u.sigma, err = u.measureNoise(ctx, t, known)
	}
	return u, err
}

// measureNoise looks at the finest level of what is given, where it is known.
func (u *unblur) measureNoise(ctx context.Context, t *pipeline.Task, known []bool) (float64, error) {
	smooth := make([]float32, u.w*u.h)
	if err := smoothBands(ctx, t, smooth, u.data, u.w, u.h, 1); err != nil {
		return 0, err
	}
	return noiseSigma(u.w, u.h, func(i int) (float32, bool, bool) { return u.data[i] - smooth[i], known[i], u.lit[i] }), nil
}

// iterate takes n steps, or as many as the noise bears where n is 0, and returns
// their number. No step can be taken afterwards.
func (u *unblur) iterate(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int) int {
	defer func() { u.lit = nil }() // room for what follows
	u.estimate = append([]float32(nil), u.data...)
	if s == (deconvolve.Spread{}) {
		return 0
	}
	blur := deconvolve.NewBlur(s, u.w, u.h)
	blur.Each = func(n int, fn func(i int)) {
		_ = t.Each(ctx, n, func(i int) error { fn(i); return nil })
	}
	u.ratio = make([]float32, u.w*u.h)
	most := n
	var c changes
	if n == 0 {
		most, c = mostIterations, make(changes, u.h)
	}
	for k := 1; k <= most && ctx.Err() == nil; k++ {
		deconvolve.Step(u.estimate, u.data, u.ratio, blur, func(y0, y1 int, factor []float32) {
			if n == 0 {
				u.note(c, y0, y1, factor)
			}
		})
		t.Progress(0.8 * float64(k) / float64(most))
		if n == 0 && c.rms() < float64(stopShare*u.sigma) {
			return k
		}
	}
	return most
}

// changes is what a step has changed on lit ground, row by row.
type changes []struct {
	squares float64
	n       int
}

// note notes rows y0 to y1, which have been multiplied by factor.
func (u *unblur) note(c changes, y0, y1 int, factor []float32) {
	for y := y0; y < y1; y++ {
		row, n := 0.0, 0
		for x, f := range factor[(y-y0)*u.w:][:u.w] {
			if i := y*u.w + x; u.lit[i] && f > 0 {
				d := float64(u.estimate[i] - u.estimate[i]/f)
				row += float64(d * d)
				n++
			}
		}
		c[y].squares, c[y].n = row, n
	}
}

func (c changes) rms() float64 {
	sum, n := 0.0, 0
	for _, row := range c {
		sum += row.squares
		n += row.n
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
