package deconvolve

import (
	"math"

	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/portable"
)

// Spread is a blur by moving air, as it is left in a mean of many frames: a narrow
// core, Gaussian, and about it a halo with wings. The zero value does not blur.
//
// The transfer of a long exposure falls off as exp(−(f/f₀)^(5/3)) (Fried 1966, J.
// Opt. Soc. Am. 56:1372), not as a Gaussian's square, and a mean of moments of
// different strength more slowly still. The halo is of two Gaussians, which
// together follow exp(−(f/f₀)^(3/2)) to 0.02.
type Spread struct {
	Halo      float64 `json:"halo"`       // the halo's share of the light, 0…1
	CoreSigma float64 `json:"core_sigma"` // standard deviation, pixels
	HaloSigma float64 `json:"halo_sigma"` // of the halo without its wings, likewise
}

// The wings: their share of the halo, and how much wider than the rest they are.
const (
	wingShare = 0.3
	wingWidth = 2.6
)

// Times returns the spread in a picture n times as fine.
func (s Spread) Times(n float64) Spread {
	return Spread{s.Halo, float64(n * s.CoreSigma), float64(n * s.HaloSigma)}
}

// Transfer returns by how much the spread leaves a pattern of f cycles per pixel.
func (s Spread) Transfer(f float64) float64 {
	halo := float64((1-wingShare)*gaussian(s.HaloSigma, f)) + float64(wingShare*gaussian(float64(wingWidth*s.HaloSigma), f))
	return float64((1-s.Halo)*gaussian(s.CoreSigma, f)) + float64(s.Halo*halo)
}

// gaussian is the transfer of a Gaussian blur: exp(−2π²σ²f²).
func gaussian(sigma, f float64) float64 {
	return portable.Exp(-2 * float64(math.Pi*math.Pi*sigma*sigma*f*f))
}

// NewBlur returns the spread as a blur of pictures of w by h pixels.
func NewBlur(s Spread, w, h int) *Separable[float32] {
	b := &Separable[float32]{W: w, H: h}
	if s.Halo < 1 {
		b.Terms = append(b.Terms, Term[float32]{float32(1 - s.Halo), taps(s.CoreSigma)})
	}
	if s.Halo > 0 {
		b.Terms = append(b.Terms, Term[float32]{float32(s.Halo * (1 - wingShare)), taps(s.HaloSigma)},
			Term[float32]{float32(s.Halo * wingShare), taps(wingWidth * s.HaloSigma)})
	}
	return b
}

const (
	sampledFrom = 0.8 // px; a Gaussian this wide may be sampled as it is
	narrowTaps  = 6
)

// taps is half a kernel that blurs by a Gaussian of sigma pixels. A narrow one
// would alias if it were sampled, so its taps are those whose transfer is the
// Gaussian's over the frequencies that a picture holds: its inverse transform
// from −½ to ½ cycles per pixel.
func taps(sigma float64) []float32 {
	if sigma >= sampledFrom || sigma <= 0 {
		return filter.GaussianTaps(sigma)
	}
	const steps = 256
	var t [narrowTaps]float64
	sum := 0.0
	for n := range t {
		for k := range steps {
			f := (float64(k) + 0.5) / (2 * steps)
			t[n] += float64(gaussian(sigma, f) * portable.Cos(2*math.Pi*f*float64(n)) / steps)
		}
		sum += 2 * t[n]
	}
	sum -= t[0]
	out := make([]float32, narrowTaps)
	for n, v := range t {
		out[n] = float32(v / sum)
	}
	return out
}

// Sharpened returns by how much n steps of Richardson and Lucy's iteration from
// the data themselves raise a faint pattern of f cycles per pixel on flat ground:
// what follows from Step to first order, t ← t + s·(1 − s·t) with t = 1 at first.
func (s Spread) Sharpened(f float64, n int) float64 {
	k, t := s.Transfer(f), 1.0
	for range n {
		t += float64(k * (1 - float64(k*t)))
	}
	return t
}
