package decorrelation

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/fourier"
)

// bandLimited is white noise of which nothing finer than cut cycles a pixel is left, its standard deviation 1.
func bandLimited(r *rand.Rand, n int, cut float64) []float32 {
	re, im := make([]float32, n*n), make([]float32, n*n)
	for i := range re {
		re[i] = float32(r.NormFloat64())
	}
	plan := fourier.New(n, n)
	plan.Forward(re, im)
	for v := range n {
		for u := range n {
			fx, fy := math.Min(float64(u), float64(n-u))/float64(n), math.Min(float64(v), float64(n-v))/float64(n)
			if math.Hypot(fx, fy) > cut {
				re[v*n+u], im[v*n+u] = 0, 0
			}
		}
	}
	plan.Inverse(re, im)
	sum := 0.0
	for _, v := range re {
		sum += float64(v * v)
	}
	for i := range re {
		re[i] /= float32(math.Sqrt(sum / float64(n*n)))
	}
	return re
}

// A picture that ends at a frequency, in faint noise, is resolved to that frequency, but for two rings: one that the
// frequency lies in, one that the fading at the borders adds.
func TestLimitOfBandLimitedPictures(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	for _, cut := range []float64{0.1, 0.2, 0.3, 0.4} {
		img := bandLimited(r, 256, cut)
		for i := range img {
			img[i] += float32(0.02 * r.NormFloat64())
		}
		if got := Limit(img, 256, 256); math.Abs(got-cut) > 2.0/256 {
			t.Errorf("detail up to %v cycles/px: found %.4f", cut, got)
		}
	}
}

// Noise hides the fine end of a picture whose detail grows fainter the finer it is.
func TestNoiseTakesResolution(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 2))
	scene := bandLimited(r, 256, 0.06)
	for _, cut := range []float64{0.12, 0.2, 0.3, 0.4} {
		for i, v := range bandLimited(r, 256, cut) {
			scene[i] += float32(float64(v) * 0.03 / cut)
		}
	}
	last := math.Inf(1)
	for _, sigma := range []float64{0.01, 0.2, 1} {
		img := append([]float32(nil), scene...)
		for i := range img {
			img[i] += float32(sigma * r.NormFloat64())
		}
		got := Limit(img, 256, 256)
		if !(got < last) {
			t.Errorf("noise %v: %.4f cycles/px, no less than before (%.4f)", sigma, got, last)
		}
		last = got
	}
}

func TestGainAndOffsetChangeNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	img := bandLimited(r, 128, 0.25)
	for i := range img {
		img[i] += float32(0.02 * r.NormFloat64())
	}
	other := make([]float32, len(img))
	for i, v := range img {
		other[i] = 4*v + 100
	}
	if a, b := Limit(img, 128, 128), Limit(other, 128, 128); a != b || a == 0 {
		t.Errorf("%v and %v", a, b)
	}
}

func TestNothingToResolve(t *testing.T) {
	if got := Limit(make([]float32, 64*64), 64, 64); got != 0 {
		t.Errorf("a flat picture is resolved to %v cycles/px", got)
	}
	if got := Limit(make([]float32, 20*64), 20, 64); got != 0 {
		t.Errorf("a strip of 20 px is resolved to %v cycles/px", got)
	}
}
