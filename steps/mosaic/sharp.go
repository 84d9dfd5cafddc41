package mosaic

import (
	"math"
	"slices"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/wavelet"
)

// sharpBands is how many starlet planes are evened, the finest first: details of about 1, 2 and 4 pixels. Measured on
// simulated nights: in the next plane panels differ hardly more than the measure is uncertain.
const sharpBands = 3

// sharpReach is how far, in pixels, a value reaches through the planes: Σ 2·2^j.
const sharpReach = 2 * (1<<sharpBands - 1)

// split takes the starlet planes out of a picture with holes (normalised convolution, Knutsson & Westin 1993): what is
// NaN does not count, and is zero in the planes, the residual and the mask. Planes and residual add up to the
// picture. The mask is nil if there is no hole.
func split(v []float32, w, h int) (planes [][]float32, residual, mask []float32) {
	mask, residual = maskOf(v)
	if !slices.Contains(mask, 0) {
		planes, residual = wavelet.Starlet(v, w, h, sharpBands)
		return planes, residual, nil
	}
	tmp, under := make([]float32, w*h), make([]float32, w*h)
	for j := range sharpBands {
		detail := make([]float32, w*h)
		wavelet.Smooth(detail, residual, tmp, w, h, 1<<j)
		wavelet.Smooth(under, mask, tmp, w, h, 1<<j)
		for i, m := range mask {
			if m == 0 {
				detail[i], residual[i] = 0, 0
				continue
			}
			s := detail[i] / under[i] // at least the pixel's own weight of 9/64
			detail[i], residual[i] = residual[i]-s, s
		}
		planes = append(planes, detail)
	}
	return planes, residual, mask
}

// contrast is how strong a panel's detail is from place to place: the local variance of each starlet plane, in units
// of the picture, squared, on a grid contrastCell times as coarse.
type contrast struct {
	w, h  int
	power [sharpBands]small
	noise [sharpBands]float64 // the variance that noise alone gives
}

const (
	contrastCell  = 4
	contrastSigma = 2.5 // cells over which the variance is taken
)

// contrastOf measures a panel whose noise has the given standard deviation. Near holes and borders nothing is
// measured: what a plane shows there comes from them.
func contrastOf(p panel, noise float64) contrast {
	mask, _ := maskOf(p.v)
	planes, _, _ := split(p.v, p.w, p.h)
	far := distanceWithin(mask, p.w, p.h, 2<<sharpBands)
	c := contrast{w: p.w, h: p.h}
	for j, d := range planes {
		for i, v := range d {
			if d[i] = float32(v * v); far[i] <= float32(int(2)<<j) {
				d[i] = nan32
			}
		}
		v, w, h := shrink(d, p.w, p.h, contrastCell)
		inner, v := maskOf(v)
		c.power[j] = small{w, h, smoothOver(v, inner, w, h, contrastSigma), inner}
		k := noise * wavelet.NoiseFactor(j)
		c.noise[j] = float64(k * k)
	}
	return c
}

// at returns the variance of a plane's detail at a pixel without what noise gives, and the share of noise in it. ok is
// false where the detail does not stand out of the noise.
func (c *contrast) at(j int, x, y float64) (power, share float64, ok bool) {
	const middle = float64(contrastCell-1) / 2
	v, ok := c.power[j].linear((x-middle)/contrastCell, (y-middle)/contrastCell)
	if !ok || v <= 4*c.noise[j] || v <= 0 {
		return 0, 0, false
	}
	power = v - c.noise[j]
	return power, c.noise[j] / power, true
}

// sharpTie is one place seen by two panels: in one plane, the logarithm of A's amplitude over B's, and its weight.
type sharpTie struct {
	A, B, Band  int
	Log, Weight float64
}

const (
	sharpStride  = 16   // pixels between places
	sharpScatter = 0.15 // of a logarithm, without noise: blur differs from place to place within a panel
)

// sharpTies compares the detail of two panels all over their overlap. The factors bring them to one brightness. The
// ground being the same, the ratio of amplitudes is the ratio of what two blurs let through, and needs no
// alignment finer than the grid of contrast.
func sharpTies(a, b int, p, q *contrast, mp, mq *mapping, fp, fq float64) []sharpTie {
	if fp <= 0 || fq <= 0 {
		return nil // brightness found nothing in common: a panel of sky
	}
	ax0, ay0, ax1, ay1 := mp.bounds(p.w, p.h)
	bx0, by0, bx1, by1 := mq.bounds(q.w, q.h)
	x0, y0, x1, y1 := max(ax0, bx0), max(ay0, by0), min(ax1, bx1), min(ay1, by1)
	brighter := portable.Log(fp / fq)
	var out []sharpTie
	for y := math.Ceil(y0/sharpStride) * sharpStride; y < y1; y += sharpStride {
		for x := math.Ceil(x0/sharpStride) * sharpStride; x < x1; x += sharpStride {
			px, py := mp.pixel(x, y)
			qx, qy := mq.pixel(x, y)
			for j := range sharpBands {
				u, su, ok := p.at(j, px, py)
				v, sv, ok2 := q.at(j, qx, qy)
				if !ok || !ok2 {
					continue
				}
				s := su + sv
				out = append(out, sharpTie{a, b, j, float64(0.5*portable.Log(u/v)) + brighter,
					1 / (sharpScatter*sharpScatter + float64(s*s))})
			}
		}
	}
	return out
}
