package simulate

import (
	"math"
	"testing"

	"plenilune/steps/kernel/fourier"
)

func TestOverlapByHand(t *testing.T) {
	// Equal circles a radius apart share 2π/3 - √3/2.
	for _, c := range []struct{ a, b, d, want float64 }{
		{1, 1, 0, math.Pi}, {1, 1, 2, 0}, {1, 0.5, 0.2, math.Pi / 4}, {1, 0.5, 1.5, 0}, {1, 1, 1, 2*math.Pi/3 - math.Sqrt(3)/2},
	} {
		if got := overlap(c.a, c.b, c.d); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("circles %g and %g, %g apart: %g, want %g", c.a, c.b, c.d, got, c.want)
		}
	}
}

// annulus holds the transfer of a ring aperture, computed from the overlap of
// circles after O'Neill 1956, J. Opt. Soc. Am. 46:285.
var annulus = map[float64][9]float64{ // at 0.1, 0.2 … 0.9 of the cut-off
	0:    {.8729, .7471, .6238, .5046, .3910, .2848, .1881, .1041, .0374},
	0.20: {.8422, .6949, .5665, .4423, .3674, .2966, .1960, .1084, .0389},
	0.33: {.8109, .6280, .4596, .3610, .3252, .2893, .2111, .1168, .0420},
	0.50: {.7462, .4976, .3059, .2414, .2236, .2353, .2221, .1388, .0498},
}

func TestAnnulusTransfer(t *testing.T) {
	for eps, row := range annulus {
		for i, want := range row {
			if got := annulusTransfer(float64(i+1)/10, eps); math.Abs(got-want) > 1e-4 {
				t.Errorf("obstruction %g at %.1f: %.4f, want %.4f", eps, float64(i+1)/10, got, want)
			}
		}
		if got := annulusTransfer(0, eps); math.Abs(got-1) > 1e-12 {
			t.Errorf("obstruction %g at 0: %g, want 1", eps, got)
		}
	}
}

// The transform of a pupil 256 cells across must agree with the closed form to
// what its stepped edge allows.
func TestPupilTransfersLikeTheAnnulus(t *testing.T) {
	const n = 512
	p := newPupil(n, 0.5, 0.33)
	re, im := make([]float32, n*n), make([]float32, n*n)
	for y := range p.side {
		copy(re[y*n:], p.open[y*p.side:(y+1)*p.side])
	}
	ft := fourier.New(n, n)
	ft.Forward(re, im)
	for i := range re {
		re[i], im[i] = float32(re[i]*re[i])+float32(im[i]*im[i]), 0
	}
	ft.Forward(re, im)
	for i, want := range annulus[0.33] {
		f := float64(i+1) / 10 * 256
		k := int(f)
		got := blend(float64(re[k]), float64(re[k+1]), f-float64(k)) / float64(re[0])
		if math.Abs(got-want) > 5e-3 {
			t.Errorf("at %.1f: %.4f, want %.4f", float64(i+1)/10, got, want)
		}
	}
}

func TestFlattenTakesAPlaneAway(t *testing.T) {
	p := newPupil(64, 0.484, 0.3)
	phase := make([]float64, p.side*p.side)
	for i := range phase {
		phase[i] = 3 + 0.2*p.xy[i%p.side] - 0.7*p.xy[i/p.side]
	}
	if rest := p.flatten(phase); rest > 1e-15 {
		t.Errorf("a plane leaves %g rad²", rest)
	}
}
