package deconvolve

import (
	"errors"
	"math"

	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/solve"
)

// Power is how strong the detail of a picture is about one spatial frequency.
type Power struct {
	Frequency float64 // cycles per pixel, above 0
	Log       float64 // natural logarithm of the power, from any zero
	Variance  float64 // of Log
}

// sceneWalk is by how much the slope of the logarithm of a scene's power against that
// of frequency wanders: its variance grows by this much in a factor e of frequency.
// Slopes of neighbouring octaves of simulated lunar ground differ by 1.2, rms; for the
// mean slopes of neighbouring octaves of such a walk that is √(2/3·ln 2·sceneWalk).
const sceneWalk = 3.1

// The shares of the halo that are weighed.
const (
	haloShares = 38
	haloMost   = 0.925
)

// PowerFit tells a blur from the power of the detail that it has left, where the scene
// is not known: its power is taken for a power law whose exponent is free and wanders
// on the way from broad to fine detail (an integrated Wiener process, as splines have
// it for prior: Wahba 1978, J. R. Stat. Soc. B 40:364).
type PowerFit struct {
	tel     Telescope
	spreads [haloShares]Spread
	widths  [haloShares]float64
}

// NewPowerFit looks for spreads that differ from the usual one in the halo's share.
func NewPowerFit(t Telescope, usual Spread) *PowerFit {
	f := &PowerFit{tel: t}
	for i := range f.spreads {
		s := usual
		s.Halo = haloMost * float64(i) / (haloShares - 1)
		f.spreads[i], f.widths[i] = s, t.FWHM(s)
	}
	return f
}

// ErrNoPower says that too few frequencies are given to tell a blur from a scene.
var ErrNoPower = errors.New("the detail does not tell blur from scene")

const fewestPowers = 5

// Fit returns the full width at half maximum, in pixels, of optics and blur together,
// and its standard deviation: what the powers add, as of Gaussians, to every share of
// the halo being as likely. It may be weighed with other measurements by inverse
// variance. Frequencies rise and lie below the cutoff.
func (f *PowerFit) Fit(p []Power) (fwhm, sigma float64, err error) {
	n := len(p)
	if n < fewestPowers {
		return 0, 0, ErrNoPower
	}
	u, cov := make([]float64, n), make([]float64, n*n)
	for i := range p {
		u[i] = portable.Log(p[i].Frequency / p[0].Frequency)
	}
	for i := range p {
		for j := range p {
			lo, hi := min(u[i], u[j]), max(u[i], u[j])
			cov[i*n+j] = sceneWalk / 6 * float64(lo*lo) * (float64(3*hi) - lo)
		}
		cov[i*n+i] += max(p[i].Variance, 1e-4)
	}
	inv, err := solve.Inverse(cov, n)
	if err != nil {
		return 0, 0, err
	}
	var misfits [haloShares]float64
	y := make([]float64, n)
	least := math.Inf(1)
	for k, s := range f.spreads {
		for i, v := range p {
			y[i] = v.Log - float64(2*portable.Log(float64(f.tel.Transfer(v.Frequency)*s.Transfer(v.Frequency))))
		}
		misfits[k] = misfit(inv, u, y)
		least = min(least, misfits[k])
	}
	var before, after [haloShares]float64
	for k := range f.widths {
		before[k], after[k] = 1, portable.Exp(-0.5*(misfits[k]-least))
	}
	m, v := moments(f.widths[:], after[:])
	m0, v0 := moments(f.widths[:], before[:])
	if !(v < float64(0.9*v0)) {
		return 0, 0, ErrNoPower
	}
	v = max(v, 1e-6)
	own := 1/v - 1/v0
	return max((m/v-m0/v0)/own, f.widths[0]), math.Sqrt(1 / own), nil
}

// moments returns mean and variance of values by weights.
func moments(values, weights []float64) (mean, variance float64) {
	var sum, first, second float64
	for k, w := range weights {
		sum += w
		first += float64(w * values[k])
		second += float64(w * values[k] * values[k])
	}
	mean = first / sum
	return mean, max(0, second/sum-float64(mean*mean))
}

// misfit is the weighed square of what is left of y after the best straight line in u.
func misfit(inv, u, y []float64) float64 {
	var yy, y1, yu, oneone, oneu, uu float64
	n := len(u)
	for i := range u {
		for j := range u {
			w := inv[i*n+j]
			yy += float64(w * y[i] * y[j])
			y1 += float64(w * y[i])
			yu += float64(w * y[i] * u[j])
			oneone += w
			oneu += float64(w * u[j])
			uu += float64(w * u[i] * u[j])
		}
	}
	det := float64(oneone*uu) - float64(oneu*oneu)
	a := (float64(y1*uu) - float64(yu*oneu)) / det
	b := (float64(yu*oneone) - float64(y1*oneu)) / det
	return yy - float64(a*y1) - float64(b*yu)
}
