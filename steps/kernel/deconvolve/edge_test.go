package deconvolve

import (
	"errors"
	"math"
	"testing"
)

// Modulation transfer of an annular aperture, from O'Neill (1956) by the areas of
// overlapping circles, to four digits.
func TestTelescopeTransfer(t *testing.T) {
	for e, want := range map[float64][]float64{
		0:   {.9364, .8729, .7471, .6238, .5046, .3910, .2848, .1881, .1041, .0374},
		.20: {.9206, .8422, .6949, .5665, .4423, .3674, .2966, .1960, .1084, .0389},
		.33: {.9051, .8109, .6280, .4596, .3610, .3252, .2893, .2111, .1168, .0420},
		.50: {.8728, .7462, .4976, .3059, .2414, .2236, .2353, .2221, .1388, .0498},
	} {
		for i, nu := range []float64{.05, .1, .2, .3, .4, .5, .6, .7, .8, .9} {
			if got := (Telescope{Cutoff: 1, Obstruction: e}).Optics(nu); math.Abs(got-want[i]) > 1e-4 {
				t.Errorf("obstruction %v, ν = %v: %v, want %v", e, nu, got, want[i])
			}
		}
	}
}

// FWHM of the obscured Airy pattern in λ/D (Schroeder, Astronomical Optics, ch. 10):
// with ten pixels to λ/D the pixel itself plays no part to the tolerance.
func TestTelescopeFWHM(t *testing.T) {
	for e, want := range map[float64]float64{0: 1.0290, .20: 1.0068, .33: .9720, .50: .9117} {
		if got := (Telescope{Cutoff: 0.1, Obstruction: e}).FWHM(Spread{}) / 10; math.Abs(got/want-1) > 0.005 {
			t.Errorf("obstruction %v: %v λ/D, want %v", e, got, want)
		}
	}
	// A blur much wider than the optics is nearly all that remains, 2√(2 ln 2) σ; their
	// wings add a little.
	if got := (Telescope{Cutoff: 0.5}).FWHM(Spread{CoreSigma: 6}); math.Abs(got/(2.354820*6)-1) > 0.03 {
		t.Errorf("a blur of 6 px has %v px, want %v", got, 2.354820*6)
	}
}

// An edge blurred by a Gaussian is an error function: with optics of a far cutoff
// the model must be that, and the fit find the blur again.
func TestGaussianEdge(t *testing.T) {
	fine := Telescope{Cutoff: 4}
	for _, sigma := range []float64{0.8, 1.2, 2, 3.5} {
		var p Profile
		for i := range p {
			p[i] = 0.1 + 0.4*math.Erfc(-(At(i)-0.3)/(sigma*math.Sqrt2)) // the step is of 0.8
		}
		n, step, slope, spread, ok := p.Normal()
		if !ok || math.Abs(step-0.8) > 0.1 || // a wide blur reaches beyond the profile
			math.Abs(slope) > 0.02 || spread > 0.02 {
			t.Fatalf("σ = %v: step %v, slope %v, spread %v, %v", sigma, step, slope, spread, ok)
		}
		s, rms, err := FitEdge(n, fine)
		if err != nil || rms > 2e-3 {
			t.Errorf("σ = %v: rms %v, %v", sigma, rms, err)
		}
		want := 2.354820 * sigma
		// the optics and pixel of the model, not in the case, are a twentieth of a pixel² of variance
		if got := fine.FWHM(s); math.Abs(got/want-1) > 0.04 {
			t.Errorf("σ = %v: FWHM %v px, want %v (%+v)", sigma, got, want, s)
		}
	}
}

// A halo about a sharp core is told from both, through optics that have wings of
// their own.
func TestHaloIsFound(t *testing.T) {
	tel := Telescope{Cutoff: 0.524, Obstruction: 0.35}
	m := newEdgeModel(tel)
	for _, want := range []Spread{{0.4, 0.5, 2.5}, {0.3, 0.9, 3.5}, {0.6, 0.4, 2}} {
		got, rms, err := FitEdge(m.profile(want, 0.2), tel)
		if err != nil || rms > 1e-4 {
			t.Errorf("%+v: rms %v, %v", want, rms, err)
		}
		for _, f := range []float64{0.05, 0.1, 0.2, 0.3} {
			if d := got.Transfer(f) - want.Transfer(f); math.Abs(d) > 0.01 {
				t.Errorf("%+v: transfer at %v off by %v (%+v)", want, f, d, got)
			}
		}
	}
}

func TestNoEdgeIsSaid(t *testing.T) {
	var p Profile
	for i := range p {
		p[i] = 0.5 + 0.4*math.Sin(At(i)/2)
	}
	if _, _, err := FitEdge(p, Typical()); !errors.Is(err, ErrNoEdge) {
		t.Errorf("a wave is taken for an edge: %v", err)
	}
	var flat Profile
	if _, _, _, _, ok := flat.Normal(); ok {
		t.Error("flat ground has an edge")
	}
}

// The taps of every width leave patterns as a Gaussian does, up to 0.4 cycles a pixel.
func TestTapsTransfer(t *testing.T) {
	for _, sigma := range []float64{0.1, 0.3, 0.5, 0.7, 0.9, 2, 4} {
		tap := taps(sigma)
		for f := 0.0; f <= 0.4; f += 0.02 {
			got := float64(tap[0])
			for n, v := range tap[1:] {
				got += 2 * float64(v) * math.Cos(2*math.Pi*f*float64(n+1))
			}
			if want := math.Exp(-2 * math.Pi * math.Pi * sigma * sigma * f * f); math.Abs(got-want) > 0.012 {
				t.Errorf("σ = %v, f = %.2f: %v, want %v", sigma, f, got, want)
			}
		}
	}
}

// What Sharpened says of one pattern is what Step does to it.
func TestSharpenedIsWhatStepsDo(t *testing.T) {
	const size = 257
	s := Spread{0.4, 0.5, 2.5}
	for _, waves := range []int{20, 60, 110} {
		f := float64(waves) / 2 / (size - 1) // even about both borders
		data := make([]float32, size*size)
		for i := range data {
			data[i] = float32(1 + 0.001*math.Cos(2*math.Pi*f*float64(i%size)))
		}
		e := append([]float32(nil), data...)
		ratio := make([]float32, len(e))
		for range 6 {
			Step(e, data, ratio, NewBlur(s, size, size), nil)
		}
		if got, want := float64(e[128*size]-1)/0.001, s.Sharpened(f, 6); math.Abs(got/want-1) > 0.01 {
			t.Errorf("%v cycles a pixel: raised %v times, want %v", f, got, want)
		}
	}
}

// The halo falls off as the transfer of moving air does, between a long exposure's
// exp(−x^(5/3)) (Fried 1966, J. Opt. Soc. Am. 56:1372) and exp(−x^(4/3)).
func TestHaloFallsOffAsAirDoes(t *testing.T) {
	s := Spread{Halo: 1, HaloSigma: 2}
	scale := math.Sqrt2 * math.Pi * s.HaloSigma / 0.8054 // of the law that the two Gaussians follow
	for f := 0.002; f < 0.3; f += 0.002 {
		x := scale * f
		want := math.Exp(-math.Pow(x, 1.5))
		if got := s.Transfer(f); math.Abs(got-want) > 0.025 {
			t.Errorf("x = %.2f: %.4f, want %.4f", x, got, want)
		}
	}
}
