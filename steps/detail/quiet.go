package detail

import (
	"context"
	"fmt"
	"image"
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
func (u *unblur) quiet(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int) ([]float32, error) {
	whole := u.estimate
	u.estimate = nil // room for what follows
	for i, v := range u.data {
		whole[i] -= v
	}
	if n == 0 || u.sigma == 0 {
		return whole, nil
	}
	weight, err := u.openWeight(t)
	if err != nil {
		return nil, err
	}
	if weight != nil {
		defer weight.Close()
	}
	gain, smooth := u.ratio, u.data // have served
	u.ratio = nil
	clear(gain)
	raised := raisedNoise(s, n)
	for j := range quietLevels {
		if err := smoothBands(ctx, t, smooth, whole, u.w, u.h, 1<<j); err != nil {
			return nil, err
		}
		for i, v := range smooth {
			whole[i] -= v
		}
		floor := quietSigma * raised[j] * u.sigma
		if err := u.addStanding(ctx, t, gain, whole, 1<<j, float32(floor*floor), weight); err != nil {
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

// openWeight opens the weights; nil without any. They are read for every level again: held, they would be as much as the picture.
func (u *unblur) openWeight(t *pipeline.Task) (*pipeline.PlaneReader, error) {
	if u.typical == 0 {
		return nil, nil
	}
	weight, err := t.One("weight").Plane()
	if err != nil {
		return nil, fmt.Errorf("read the weights: %w", err)
	}
	return weight, nil
}

// addStanding adds to gain what of a level, whose taps are step pixels apart, stands above a floor in its neighbourhood. Energies are held
// a band at a time: of a large picture they would be as much as all else.
func (u *unblur) addStanding(ctx context.Context, t *pipeline.Task, gain, level []float32, step int, floor2 float32, weight *pipeline.PlaneReader) error {
	return inBands(ctx, t, u.h, step, func(y0, y1, a, b int) error {
		energy := make([]float32, (b-a)*u.w)
		for i, v := range level[a*u.w : b*u.w] {
			energy[i] = v * v
		}
		local := make([]float32, len(energy))
		wavelet.Smooth(local, energy, make([]float32, u.w), u.w, b-a, step)
		var rel []float32 // noise variances against that at the typical weight
		if weight != nil {
			rel = energy[:(y1-y0)*u.w] // has served
			if err := weight.ReadRect(0, image.Rect(0, y0, u.w, y1), rel); err != nil {
				return fmt.Errorf("read the weights: %w", err)
			}
			relative(rel, float32(u.typical))
		}
		for i := y0 * u.w; i < y1*u.w; i++ {
			f := floor2
			if rel != nil {
				f *= rel[i-y0*u.w]
			}
			gain[i] += float32(level[i] * passes(local[i-a*u.w], f))
		}
		return nil
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
