package detail

import (
	"context"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

// deconvolveSettings is a deconvolve block. Zeros stand for what is measured.
type deconvolveSettings struct {
	Iterations int     `json:"iterations"`
	FWHMPx     float64 `json:"fwhm_px"`
	FWHMArcsec float64 `json:"fwhm_arcsec"`
}

const (
	mostIterations = 20
	// Iterating stops by itself when a step changes lit ground by less than this
	// share of the noise, rms: what further steps would bring is not seen in it.
	stopShare = 0.4
	// What the iteration brings fades out where it is weaker than this many times
	// the noise that the iteration raises.
	quietSigma = 2
	// The levels of scale in which that is looked at.
	quietLevels = 4
)

// sharpen takes the blur out of the luminance of a picture, and leaves the noise.
// It holds ten planes of the picture's size.
func sharpen(ctx context.Context, s deconvolveSettings, t *pipeline.Task) error {
	img, err := readPlane(t.One("image"))
	if err != nil {
		return fmt.Errorf("read the picture: %w", err)
	}
	p, err := readPlacement(t)
	if err != nil {
		return err
	}
	spread, err := spreadToUndo(s, p, t)
	if err != nil {
		return err
	}
	lum := img.Luminance()
	d := newUnblur(lum, img.W, img.H, p.NoiseSigma)
	if !finite(d.bright) {
		return fmt.Errorf("the picture holds no data at all")
	}
	n := d.iterate(ctx, t, spread, s.Iterations)
	t.Fact("iterations", float64(n), "")
	rel, err := weightsAgainst(t, lum)
	if err != nil {
		return err
	}
	gain, err := d.quiet(ctx, t, spread, n, rel)
	if err != nil {
		return err
	}
	after := d.data // has served
	for i, v := range lum {
		after[i] = v + gain[i]
	}
	if n > 0 {
		dimWings(gain, after, img.W, img.H)
	}
	addLuminance(img.Pix, gain, float32(0.02*d.bright))
	return t.PutPlane(ctx, "image", img.W, img.H, img.Pix...)
}

// wingShare is how much of the light beside the limb is taken back.
const wingShare = 0.6

// dimWings takes back most of the light just beyond the lit limb. What the
// telescope's own wings and the air's widest spread there is below the model of
// the blur; next to a limb that has grown crisp it would stand as a grey ring
// about the Moon. It ends so far out that nothing brightens again on the way.
func dimWings(gain, sharp []float32, w, h int) {
	g := findGround(sharp, w, h)
	if g.edgePx == 0 {
		return
	}
	sky := float32(g.sky)
	for y := range h {
		for x := range w {
			i := y*w + x
			cx := float32((float32(x)+0.5)*g.fx) - 0.5
			cy := float32((float32(y)+0.5)*g.fy) - 0.5
			if k := g.glow.at(cx, cy); k > 0 && sharp[i] == sharp[i] {
				gain[i] -= float32(wingShare * k * (sharp[i] - sky))
			}
		}
	}
}

// spreadToUndo is the blur given, or the one measured.
func spreadToUndo(s deconvolveSettings, p placement, t *pipeline.Task) (deconvolve.Spread, error) {
	fwhm := s.FWHMPx
	if s.FWHMArcsec > 0 {
		if p.ScaleArcsecPerPx == 0 {
			t.Warn("scale-unknown", "nothing is deconvolved: blur_fwhm_arcsec is in arcseconds and this picture's scale is not known "+
				"(no limb to measure it from, no optics in the night block); give blur_fwhm_px, or state pixel_um and focal_length_mm")
			return deconvolve.Spread{}, nil
		}
		fwhm = s.FWHMArcsec / p.ScaleArcsecPerPx
	}
	if fwhm > 0 {
		return deconvolve.Spread{CoreSigma: fwhm / sigmaToFWHM}, nil
	}
	var b seen
	err := t.One("blur").Table(&b)
	return b.Spread, err
}

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
// their number.
func (u *unblur) iterate(ctx context.Context, t *pipeline.Task, s deconvolve.Spread, n int) int {
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

// weightsAgainst returns each pixel's noise variance against that at the median
// weight; nil without weights.
func weightsAgainst(t *pipeline.Task, lum []float32) ([]float32, error) {
	typical, err := weightMedian(t, lum)
	if err != nil || typical == 0 {
		return nil, err
	}
	m, err := readPlane(t.One("weight"))
	if err != nil {
		return nil, fmt.Errorf("read the weights: %w", err)
	}
	relative(m.Pix[0], float32(typical))
	return m.Pix[0], nil
}
