package detail

import (
	"cmp"
	"math"

	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/fourier"
)

// telescope is what the night says of the optics, in pixels of the picture; stated
// is false where it is not said how fine they draw.
func telescope(o opticsSettings, p placement, light lightTable) (tel deconvolve.Telescope, stated bool) {
	tel = deconvolve.Typical()
	tel.Pixel = p.Fineness
	tel.Cutoff /= cmp.Or(p.Fineness, 1)
	if o.ApertureMM > 0 && p.ScaleArcsecPerPx > 0 {
		mm := cmp.Or(light.WavelengthNM*1e-6, greenMM)
		tel.Cutoff = min(max(float64(o.ApertureMM/mm*p.ScaleArcsecPerPx)/206264.806, 0.1), 2)
		stated = true
	}
	if o.Obstruction > 0 {
		tel.Obstruction = o.Obstruction
	}
	return tel, stated
}

// square is v².
func square(v float64) float64 { return float64(v * v) }

const (
	// The usual optics and so many finer and coarser ones, each by this share, are laid
	// to the edge.
	opticsStep, opticsSteps = 0.05, 4
	// The best of them is right to this share (found on simulated nights); where the
	// edge does not tell, the usual ones are to the other.
	seenWithin, usualWithin = 0.05, 0.1
)

// opticsSeen is what the profile of an edge tells of optics that nobody stated: how
// fine they draw, where the fit is best; within is by what share that may be wrong.
// Where the profile does not tell they stay as they are usual.
func opticsSeen(edge deconvolve.Profile, tel deconvolve.Telescope) (found deconvolve.Telescope, within float64) {
	var e [2*opticsSteps + 1]float64
	best := 0
	for i := range e {
		other := tel
		other.Cutoff *= 1 + float64(opticsStep*float64(i-opticsSteps))
		_, rms, err := deconvolve.FitEdge(edge, other)
		if err != nil {
			return tel, usualWithin
		}
		if e[i] = square(rms); e[i] < e[best] {
			best = i
		}
	}
	if best == 0 || best == len(e)-1 {
		return tel, usualWithin
	}
	at := float64(best-opticsSteps) + fourier.Parabola(-e[best-1], -e[best], -e[best+1])
	found = tel
	found.Cutoff *= 1 + float64(opticsStep*at)
	return found, seenWithin
}

// ofOptics is how uncertain, in pixels, the blur's width is because the optics are
// known no better than to a share: half of what it differs by between finer and
// coarser ones.
func ofOptics(edge deconvolve.Profile, tel deconvolve.Telescope, within float64) float64 {
	var width [2]float64
	for i, k := range []float64{1 - within, 1 + within} {
		other := tel
		other.Cutoff *= k
		s, _, err := deconvolve.FitEdge(edge, other)
		if err != nil {
			return float64(within * tel.FWHM(deconvolve.Spread{}))
		}
		width[i] = other.FWHM(s)
	}
	return math.Abs(width[0]-width[1]) / 2
}
