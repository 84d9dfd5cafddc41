package wavelet

import (
	"math"
	"math/rand/v2"
	"testing"
)

// table is the picture T(i, j) = (37i + 101j + 13ij) mod 17, i down.
func table(n int) []float32 {
	out := make([]float32, n*n)
	for i := range n {
		for j := range n {
			out[i*n+j] = float32((37*i + 101*j + 13*i*j) % 17)
		}
	}
	return out
}

// Computed with scipy.ndimage (mode 'mirror') by the definition of Starck &
// Murtagh, Astronomical Image and Data Analysis.
func TestTable(t *testing.T) {
	planes, rest := Starlet(table(32), 32, 32, 3)
	at := 16*32 + 16
	for what, v := range map[string][2]float64{
		"w1": {float64(planes[0][at]), 3.652344},
		"w2": {float64(planes[1][at]), -.267700},
		"w3": {float64(planes[2][at]), -.534409},
		"c3": {float64(rest[at]), 8.149766},
		"σ1": {deviation(planes[0]), 4.346214},
		"σ2": {deviation(planes[1]), .998098},
		"σ3": {deviation(planes[2]), .354312},
	} {
		if math.Abs(v[0]-v[1]) > 1e-6 {
			t.Errorf("%s = %.7f, want %v", what, v[0], v[1])
		}
	}
}

func deviation(v []float32) float64 {
	var s, ss float64
	for _, x := range v {
		s += float64(x)
		ss += float64(x) * float64(x)
	}
	n := float64(len(v))
	return math.Sqrt(ss/n - s*s/n/n)
}

// By hand from the kernel: 1 - (6/16)², -(6·4)/16² and, for the second plane, the
// difference of two centres.
func TestSpot(t *testing.T) {
	img := make([]float32, 64*64)
	at := 32*64 + 32
	img[at] = 1
	planes, _ := Starlet(img, 64, 64, 2)
	if planes[0][at] != .859375 || planes[0][at+1] != -.09375 || planes[0][at-64] != -.09375 {
		t.Errorf("first plane: %v, %v", planes[0][at], planes[0][at+1])
	}
	if got := float64(planes[1][at]); math.Abs(got-.11108398) > 1e-8 {
		t.Errorf("second plane: %v", got)
	}
}

// White noise of σ 1 has σ_j of the table in plane j. Published values:
// Starck & Murtagh, simulated (.889 .200 .086 .041 .020 .010 .005); more
// places by exact convolution of the kernel.
func TestNoiseTable(t *testing.T) {
	// Exactly: the root of the sum of squares of the response to a spot.
	const n = 512
	img := make([]float32, n*n)
	img[n/2*n+n/2] = 1
	planes, rest := Starlet(img, n, n, 7)
	published := []float64{.889, .200, .086, .041, .020, .010, .005}
	norm := func(v []float32) (s float64) {
		for _, x := range v {
			s += float64(x) * float64(x)
		}
		return math.Sqrt(s)
	}
	for j, p := range planes {
		if got := norm(p); math.Abs(got-NoiseFactor(j)) > 6e-6 {
			t.Errorf("plane %d: the kernel's norm is %.5f, the table says %v", j, got, NoiseFactor(j))
		}
		if math.Abs(published[j]-NoiseFactor(j)) > 2e-3 {
			t.Errorf("plane %d: published %v, the table says %v", j, published[j], NoiseFactor(j))
		}
	}
	if got := norm(rest); math.Abs(got-.03001/8) > 2e-4 {
		t.Errorf("residual: %v", got)
	}
	if got := NoiseFactor(8); got != NoiseFactor(6)/4 {
		t.Errorf("beyond the table: %v", got)
	}
}

func TestNoiseOfNoise(t *testing.T) {
	const n = 512
	r := rand.New(rand.NewPCG(8, 1))
	img := make([]float32, n*n)
	for i := range img {
		for range 12 { // the sum of twelve uniform numbers has variance 1
			img[i] += float32(r.Float64() - 0.5)
		}
	}
	planes, _ := Starlet(img, n, n, 4)
	for j, p := range planes {
		// A plane of n² pixels has about n²/4ʲ independent ones.
		tol := 4 * float64(int(1)<<j) / n
		if got := deviation(p) / NoiseFactor(j); math.Abs(got-1) > tol {
			t.Errorf("plane %d: σ is %v of the table's, tolerance %v", j, got, tol)
		}
	}
}

func TestPlanesAddUp(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, wh := range [][2]int{{50, 40}, {7, 3}, {1, 1}, {1, 20}, {33, 2}} {
		img := make([]float32, wh[0]*wh[1])
		for i := range img {
			img[i] = float32(r.Float64())
		}
		planes, rest := Starlet(img, wh[0], wh[1], 5)
		back := Combine(planes, rest)
		for i := range img {
			if math.Abs(float64(back[i]-img[i])) > 3e-7 {
				t.Fatalf("%v: pixel %d came back as %v, was %v", wh, i, back[i], img[i])
			}
		}
		double := Combine(planes, rest, 1, 3)
		for i := range img {
			if want := img[i] + 2*planes[1][i]; math.Abs(float64(double[i]-want)) > 5e-7 {
				t.Fatalf("%v: pixel %d with a gain is %v, want %v", wh, i, double[i], want)
			}
		}
	}
}

// A constant has no detail, and a plane none away from the border.
func TestPlaneHasNoDetail(t *testing.T) {
	img := make([]float32, 64*64)
	for i := range img {
		img[i] = float32(i%64) + 2*float32(i/64)
	}
	planes, _ := Starlet(img, 64, 64, 3)
	for j, p := range planes {
		for y := 16; y < 48; y++ {
			for x := 16; x < 48; x++ {
				if math.Abs(float64(p[y*64+x])) > 1e-4 {
					t.Fatalf("plane %d has %v at (%d, %d)", j, p[y*64+x], x, y)
				}
			}
		}
	}
}

func BenchmarkStarlet(b *testing.B) {
	img := make([]float32, 1024*1024)
	for i := range img {
		img[i] = float32(i%251) / 251
	}
	b.Run("1024x1024/5", func(b *testing.B) {
		for b.Loop() {
			Starlet(img, 1024, 1024, 5)
		}
	})
}
