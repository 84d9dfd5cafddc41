package detail

import (
	"context"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/portable"
)

const (
	// What the iteration brings fades out where it is weaker than this many times
	// the noise that the iteration raises.
	quietSigma = 2
	// The levels of scale in which that is looked at.
	quietLevels = 4
)

// quiet returns what the iteration brought, less what is no more than the noise
// that it raised: level by level, weighed as floors of bands are (see passes).
func (u *unblur) quiet(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int, rel []float32) ([]float32, error) {
	whole := u.estimate
	for i, v := range u.data {
		whole[i] -= v
	}
	gain := make([]float32, len(whole))
	if n == 0 || u.sigma == 0 {
		copy(gain, whole)
		return gain, nil
	}
	smooth, energy := u.data, make([]float32, len(whole)) // the data have served
	raised := raisedNoise(s, n)
	for j := range quietLevels {
		if err := smoothBands(ctx, t, smooth, whole, u.w, u.h, 1<<j); err != nil {
			return nil, err
		}
		for i, v := range smooth {
			whole[i] -= v
			energy[i] = whole[i] * whole[i]
		}
		local := make([]float32, len(whole))
		if err := smoothBands(ctx, t, local, energy, u.w, u.h, 1<<j); err != nil {
			return nil, err
		}
		floor := quietSigma * raised[j] * u.sigma
		floor2 := float32(floor * floor)
		for i, v := range whole {
			f := floor2
			if rel != nil {
				f *= rel[i]
			}
			gain[i] += float32(v * passes(local[i], f))
		}
		whole, smooth = smooth, whole
		t.Progress(0.8 + float64(0.2*float64(j+1)/quietLevels))
	}
	for i, v := range whole {
		gain[i] += v
	}
	return gain, nil
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
