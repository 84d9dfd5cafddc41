package detail

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/wavelet"
)

const (
	// What the iteration brings fades out where it is weaker than this many times
	// the noise that the iteration raises.
	quietSigma = 2
	// The levels of scale in which that is looked at.
	quietLevels = 4
)

// quiet returns what the iteration brought, less what is no more than the noise
// that it raised: level by level, weighed as floors of bands are (see passes). No
// step can be taken afterwards.
func (u *unblur) quiet(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int, rel []float32) ([]float32, error) {
	whole := u.estimate
	u.estimate = nil // room for what follows
	for i, v := range u.data {
		whole[i] -= v
	}
	gain := make([]float32, len(whole))
	if n == 0 || u.sigma == 0 {
		copy(gain, whole)
		return gain, nil
	}
	smooth := u.data // has served
	raised := raisedNoise(s, n)
	for j := range quietLevels {
		if err := smoothBands(ctx, t, smooth, whole, u.w, u.h, 1<<j); err != nil {
			return nil, err
		}
		for i, v := range smooth {
			whole[i] -= v
		}
		floor := quietSigma * raised[j] * u.sigma
		if err := u.addStanding(ctx, t, gain, whole, 1<<j, float32(floor*floor), rel); err != nil {
			return nil, err
		}
		whole, smooth = smooth, whole
		t.Progress(0.8 + float64(0.2*float64(j+1)/quietLevels))
	}
	for i, v := range whole {
		gain[i] += v
	}
	return gain, nil
}

// addStanding adds to gain what of a level, whose taps are step pixels apart, stands above a floor in its neighbourhood. Energies are held
// a band at a time: of a large picture they would be as much as all else.
func (u *unblur) addStanding(ctx context.Context, t *pipeline.Task, gain, level []float32, step int, floor2 float32, rel []float32) error {
	return inBands(ctx, t, u.h, step, func(y0, y1, a, b int) {
		energy := make([]float32, (b-a)*u.w)
		for i, v := range level[a*u.w : b*u.w] {
			energy[i] = v * v
		}
		local, tmp := make([]float32, len(energy)), make([]float32, len(energy))
		wavelet.Smooth(local, energy, tmp, u.w, b-a, step)
		for i := y0 * u.w; i < y1*u.w; i++ {
			f := floor2
			if rel != nil {
				f *= rel[i]
			}
			gain[i] += float32(level[i] * passes(local[i-a*u.w], f))
		}
	})
}

// raisedNoise returns the standard deviation, at each level, of what n steps add
// to white noise of 1 on flat ground.
func raisedNoise(s deconvolve.Spread, n int) (out [quietLevels]float64) {
	const size = 64 // frequencies a side, of one quarter of the plane
	pass := make([]float64, 0, size*size)
	for v := range size {
		for u := range size {
			fx, fy := (float64(u)+0.5)/(2*size), (float64(v)+0.5)/(2*size)
			f := math.Sqrt(float64(fx*fx) + float64(fy*fy))
			pass = append(pass, s.Sharpened(f, n)-1)
		}
	}
	for j := range out {
		var soft [size]float64 // of the smoothing that makes the next level
		for u := range soft {
			c := portable.Cos(math.Pi * (float64(u) + 0.5) / (2 * size) * float64(int(1)<<j))
			soft[u] = float64(c*c) * float64(c*c)
		}
		for v := range size {
			for u := range size {
				i, k := v*size+u, float64(soft[u]*soft[v])
				d := float64(pass[i] * (1 - k))
				out[j] += float64(d * d)
				pass[i] *= k
			}
		}
		out[j] = math.Sqrt(out[j] / (size * size))
	}
	return out
}
