package frc

import (
	"math"
	"math/rand/v2"
	"testing"
)

func noise(r *rand.Rand, n int, sigma float64) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(sigma * r.NormFloat64())
	}
	return out
}

// wave adds a pattern along x, f cycles a pixel.
func wave(dst []float32, w int, f, amplitude float64) {
	for i := range dst {
		dst[i] += float32(amplitude * math.Sin(2*math.Pi*f*float64(i%w)))
	}
}

func TestEqualPicturesAgreeToTheLastRing(t *testing.T) {
	a := noise(rand.New(rand.NewPCG(1, 1)), 64*48, 1)
	c := Correlate(a, a, 64, 48)
	for _, r := range c {
		if math.Abs(r.Correlation-1) > 1e-6 {
			t.Fatalf("correlation %v at %v cycles/px, want 1", r.Correlation, r.Frequency)
		}
	}
	if got := c.Limit(); got != 0.5 {
		t.Errorf("limit %v, want ½", got)
	}
}

func TestNoiseAgreesNowhere(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	c := Correlate(noise(r, 256*192, 1), noise(r, 256*192, 1), 256, 192)
	outside := 0
	for _, ring := range c {
		// independent samples scatter by 1/√(half of the ring); the window widens that by a third
		if math.Abs(ring.Correlation) > 4*1.35/math.Sqrt(ring.Samples/2) {
			outside++
		}
	}
	if outside > 0 || c.Limit() > 0.05 {
		t.Errorf("%d rings of %d correlate, limit %v cycles/px", outside, len(c), c.Limit())
	}
}

// Brightness and contrast change no correlation; the sign does.
func TestGainAndOffsetChangeNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 3))
	a := noise(r, 80*80, 1)
	b := noise(r, 80*80, 1)
	wave(a, 80, 0.1, 2)
	wave(b, 80, 0.1, 2)
	scaled, turned := make([]float32, len(b)), make([]float32, len(b))
	for i, v := range b {
		scaled[i], turned[i] = 7+3*v, -v
	}
	p, q, n := Correlate(a, b, 80, 80), Correlate(a, scaled, 80, 80), Correlate(a, turned, 80, 80)
	for k := range p {
		if math.Abs(p[k].Correlation-q[k].Correlation) > 1e-4 || math.Abs(p[k].Correlation+n[k].Correlation) > 1e-4 {
			t.Fatalf("ring %d: %v, scaled %v, turned %v", k, p[k].Correlation, q[k].Correlation, n[k].Correlation)
		}
	}
}

// A pattern shows in its own ring, on sides that are no whole multiples of anything.
func TestAPatternShowsInItsRing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 4))
	a, b := noise(r, 211*97, 1), noise(r, 211*97, 1)
	wave(a, 211, 0.31, 3)
	wave(b, 211, 0.31, 3)
	best := Ring{}
	for _, ring := range Correlate(a, b, 211, 97) {
		if ring.Correlation > best.Correlation {
			best = ring
		}
	}
	if math.Abs(best.Frequency-0.31) > 1.0/97 || best.Correlation < 0.8 {
		t.Errorf("strongest ring %+v, want 0.31 cycles/px", best)
	}
}

func TestTooSmallOrFlat(t *testing.T) {
	if c := Correlate(make([]float32, 31*40), make([]float32, 31*40), 31, 40); c != nil || c.Limit() != 0 {
		t.Errorf("a side of 31 px gives %v", c)
	}
	if c := Correlate(make([]float32, 64*64), make([]float32, 64*64), 64, 64); c != nil {
		t.Errorf("flat pictures give %v", c)
	}
}

// The half-bit curve of van Heel & Schatz 2005 (J. Struct. Biol. 151:250, eq. 17), worked out for three sizes of ring.
func TestHalfBit(t *testing.T) {
	for n, want := range map[float64]float64{100: 0.3067, 500: 0.2344, 2000: 0.2035} {
		if got := HalfBit(n); math.Abs(got-want) > 5e-5 {
			t.Errorf("%v samples: %.5f, want %.4f", n, got, want)
		}
	}
}

// Two pictures of one scene with independent noise correlate by SNR/(1+SNR), and 1/7 stands for an SNR of 1/6 (van Heel &
// Schatz 2005). White detail behind a Gaussian blur of σ = 1.2 px with noise of 0.1 falls to it at
// √(ln(6/0.1²))/(2π·1.2) = 0.33545 cycles/px.
func TestCrossingOfABlurredScene(t *testing.T) {
	const n, sigma = 512, 1.2
	r := rand.New(rand.NewPCG(7, 7))
	scene := blurred(noise(r, n*n, 1), n, sigma)
	a, b := noise(r, n*n, 0.1), noise(r, n*n, 0.1)
	for i, v := range scene {
		a[i] += v
		b[i] += v
	}
	got := Correlate(a, b, n, n).Crossing(func(float64) float64 { return 1.0 / 7 })
	if want := 0.33545; math.Abs(got-want) > 0.03*want {
		t.Errorf("1/7 is crossed at %.4f cycles/px, want %.4f", got, want)
	}
}

// blurred convolves with a Gaussian of σ px, borders wrapped around.
func blurred(src []float32, n int, sigma float64) []float32 {
	const reach = 8
	var k [2*reach + 1]float64
	sum := 0.0
	for i := range k {
		d := float64(i - reach)
		k[i] = math.Exp(-d * d / (2 * sigma * sigma))
		sum += k[i]
	}
	pass := func(src []float32, dx, dy int) []float32 {
		out := make([]float32, len(src))
		for y := range n {
			for x := range n {
				v := 0.0
				for i, w := range k {
					d := i - reach
					v += w * float64(src[(y+d*dy+n)%n*n+(x+d*dx+n)%n])
				}
				out[y*n+x] = float32(v / sum)
			}
		}
		return out
	}
	return pass(pass(src, 1, 0), 0, 1)
}
