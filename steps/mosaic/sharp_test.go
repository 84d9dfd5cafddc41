package mosaic

import (
	"math"
	"math/rand/v2"
	"testing"
)

// still is the mapping of panels that lie on each other.
var still = flat(similarity{A: 1})

// starletPower is the share of a white scene's variance that plane j holds after a Gaussian blur of sigma pixels: the
// integral of both squared responses over all frequencies. The spline [1 4 6 4 1]/16 passes (3 + 4 cos ω + cos 2ω)/8.
func starletPower(j int, sigma float64) float64 {
	const n = 128
	spline := func(w float64) float64 { return (3 + 4*math.Cos(w) + math.Cos(2*w)) / 8 }
	sum := 0.0
	for v := range n {
		for u := range n {
			x, y := 2*math.Pi*(float64(u)+0.5)/n-math.Pi, 2*math.Pi*(float64(v)+0.5)/n-math.Pi
			pass := math.Exp(-(x*x + y*y) * sigma * sigma / 2)
			for k := range j {
				s := float64(int(1) << k)
				pass *= spline(s*x) * spline(s*y)
			}
			s := float64(int(1) << j)
			pass *= 1 - spline(s*x)*spline(s*y)
			sum += pass * pass
		}
	}
	return sum / (n * n)
}

// scene is white noise; panels of it blurred differently have known ratios of amplitude in each plane.
func scene(seed uint64, w, h int) []float32 {
	rng := rand.New(rand.NewPCG(seed, 7))
	v := make([]float32, w*h)
	for i := range v {
		for range 4 {
			v[i] += float32(0.2 * (rng.Float64() - 0.5))
		}
		v[i] += 0.5
	}
	return v
}

func TestBlursAreToldByTheirTransfers(t *testing.T) {
	const w, h = 256, 200
	s := scene(1, w, h)
	rng := rand.New(rand.NewPCG(2, 7))
	const noise = 0.0005
	take := func(sigma, bright float64) panel {
		v := smooth(s, w, h, sigma)
		for i := range v {
			v[i] *= float32(bright)
			for range 12 { // of variance 1 together
				v[i] += float32(noise * (rng.Float64() - 0.5))
			}
		}
		return panel{w, h, v}
	}
	// The second panel is half as bright and softer, the third softer still.
	sigma, factor := []float64{1.1, 1.3, 1.6}, []float64{1, 2, 1}
	var cs []contrast
	for i := range sigma {
		cs = append(cs, contrastOf(take(sigma[i], 1/factor[i]), noise))
	}
	var ties []sharpTie
	for j := range cs {
		for i := range j {
			ties = append(ties, sharpTies(i, j, &cs[i], &cs[j], &still, &still, factor[i], factor[j])...)
		}
	}
	got, err := solveSharpness(len(cs)+1, ties)
	if err != nil {
		t.Fatal(err)
	}
	for j := range sharpBands {
		for i := 1; i < len(cs); i++ {
			want := 0.5 * math.Log(starletPower(j, sigma[i])/starletPower(j, sigma[0]))
			// The variance over a few thousand independent values is known to 3 %, and noise to itself.
			if d := got[i][j] - got[0][j]; math.Abs(d-want) > 0.03 {
				t.Errorf("plane %d: panel %d has exp(%.3f) of the first's amplitude, want exp(%.3f)", j, i, d, want)
			}
		}
	}
	if got[len(cs)] != (sharpness{}) {
		t.Errorf("a panel without overlap was given %v", got[len(cs)])
	}
}

// Starck & Murtagh's table of a plane's share of white noise is what starletPower gives without blur, so the test above
// stands on published ground: 0.889, 0.200, 0.086 (Starck & Murtagh 2006, simulated).
func TestStarletPowerOfWhiteNoise(t *testing.T) {
	for j, want := range [sharpBands]float64{0.889, 0.200, 0.086} {
		if got := math.Sqrt(starletPower(j, 0)); math.Abs(got-want) > 2e-3 {
			t.Errorf("plane %d holds %.4f, want %.3f", j, got, want)
		}
	}
}

func TestNoiseIsNoDetail(t *testing.T) {
	const w, h = 160, 120
	p := panel{w, h, scene(3, w, h)} // nothing but noise, of standard deviation 0.2 √(4/12)
	a := contrastOf(p, 0.2*math.Sqrt(4.0/12))
	if ties := sharpTies(0, 1, &a, &a, &still, &still, 1, 1); len(ties) > 0 {
		t.Errorf("%d places compared where there is only noise", len(ties))
	}
	a = contrastOf(p, 0.01)
	if ties := sharpTies(0, 1, &a, &a, &still, &still, 1, 1); len(ties) == 0 {
		t.Error("no place compared where there is detail")
	}
	// A panel of sky can come out of the brightness match with any factor.
	for _, f := range []float64{0, -0.001} {
		if ties := sharpTies(0, 1, &a, &a, &still, &still, 1, f); len(ties) > 0 {
			t.Errorf("%d places compared with a panel of brightness factor %g", len(ties), f)
		}
	}
}

func TestGainIsBounded(t *testing.T) {
	for _, c := range []struct{ log, least, most float64 }{{0, 1, 1}, {0.1, 0.90, 0.91}, {-0.1, 1.10, 1.11}, {-30, 1.6, 1.65}, {30, 0.606, 0.61}} {
		if g := (sharpness{c.log}).gain(0); g < c.least || g > c.most {
			t.Errorf("at %g the gain is %g, want %g to %g", c.log, g, c.least, c.most)
		}
	}
}
