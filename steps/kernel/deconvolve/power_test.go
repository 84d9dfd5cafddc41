package deconvolve

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

var usual = Spread{Halo: 0.4, CoreSigma: 0.33, HaloSigma: 2.15}

// seenThrough returns the powers of a scene of given logarithm through a telescope and a
// halo's share, in bands of a quarter of an octave.
func seenThrough(t Telescope, halo float64, scene func(k int, f float64) float64) (p []Power) {
	s := usual
	s.Halo = halo
	for k := range 15 {
		f := 0.033 * math.Pow(2, float64(k)/4)
		p = append(p, Power{f, scene(k, f) + 2*math.Log(t.Transfer(f)*s.Transfer(f)), 1e-3})
	}
	return p
}

// Of scenes and blurs drawn from what is assumed of them, the error must be as large as
// is said: the mean square of error over uncertainty is 1 (3 % of chance over 600
// draws), and the mean by inverse variance has no error of its own.
func TestPowerFitKnowsHowCertainItIs(t *testing.T) {
	tel := Telescope{Cutoff: 0.524, Obstruction: 0.35}
	fit := NewPowerFit(tel, usual)
	r := rand.New(rand.NewPCG(7, 1))
	var pulls, errs, weights, told float64
	const draws = 600
	for range draws {
		halo := r.Float64() * haloMost
		slope := -1.5 + r.NormFloat64()
		v, last := 0.0, 0.033
		p := seenThrough(tel, halo, func(k int, f float64) float64 {
			if k > 0 { // the walk's exact step: slope and value together
				d := math.Log(f / last)
				a, b := r.NormFloat64(), r.NormFloat64()
				v += slope*d + math.Sqrt(sceneWalk*d*d*d/3)*(a*math.Sqrt(3)/2+b/2)
				slope += math.Sqrt(sceneWalk*d) * a
				last = f
			}
			return v + math.Sqrt(1e-3)*r.NormFloat64()
		})
		got, sigma, err := fit.Fit(p)
		if errors.Is(err, ErrNoPower) {
			continue
		}
		if err != nil || !(sigma > 0) {
			t.Fatal(got, sigma, err)
		}
		told++
		want := tel.FWHM(Spread{halo, usual.CoreSigma, usual.HaloSigma})
		pulls += (got - want) * (got - want) / sigma / sigma
		errs += 1 / sigma / sigma * (got - want)
		weights += 1 / sigma / sigma
	}
	if rms := math.Sqrt(pulls / told); rms < 0.85 || rms > 1.15 {
		t.Errorf("errors are %.2f times what is said, rms", rms)
	}
	if off := errs / weights; math.Abs(off) > 0.03 {
		t.Errorf("the weighed mean is off by %.3f px", off)
	}
	if told < draws/2 {
		t.Errorf("only %v of %d scenes tell anything", told, draws)
	}
}

// A wider blur is told from a narrower one of the same scene, a power law.
func TestPowerFitTellsBlursApart(t *testing.T) {
	tel := Telescope{Cutoff: 0.524, Obstruction: 0.35}
	fit := NewPowerFit(tel, usual)
	last := 0.0
	for _, halo := range []float64{0.1, 0.4, 0.6, 0.8} {
		got, sigma, err := fit.Fit(seenThrough(tel, halo, func(_ int, f float64) float64 { return -1.5 * math.Log(f) }))
		if err != nil || got <= last {
			t.Errorf("share %v: %v ± %v px, narrower: %v px, %v", halo, got, sigma, last, err)
		}
		last = got
	}
	if _, _, err := fit.Fit(make([]Power, fewestPowers-1)); !errors.Is(err, ErrNoPower) {
		t.Errorf("too few powers: %v", err)
	}
}
