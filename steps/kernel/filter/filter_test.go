package filter

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/plane"
)

var nan = float32(math.NaN())

// table is the picture T(x, y) = (37y + 101x + 13xy) mod 17 that several values
// below were computed on.
func table(n int) []float32 {
	out := make([]float32, n*n)
	for i := range n {
		for j := range n {
			out[i*n+j] = float32((37*i + 101*j + 13*i*j) % 17)
		}
	}
	return out
}

func random(n int, seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 0))
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(r.Float64())
	}
	return out
}

// The values are SciPy's and OpenCV's (ndimage.sobel, Laplacian and Sobel with a
// kernel of 3; mirrored border), which agree.
func TestGradientsOfTable(t *testing.T) {
	src := table(32)
	gx, gy, l := make([]float32, 1024), make([]float32, 1024), make([]float32, 1024)
	Sobel(gx, gy, src, 32, 32)
	Laplacian(l, src, 32, 32)
	energy, sum, squares := 0.0, 0.0, 0.0
	for i := range src {
		energy += float64(gx[i])*float64(gx[i]) + float64(gy[i])*float64(gy[i])
		sum += float64(l[i])
		squares += float64(l[i]) * float64(l[i])
	}
	if got := energy / 1024; math.Abs(got-527.378906) > 1e-6 {
		t.Errorf("mean Sobel energy %v, want 527.378906", got)
	}
	mean := sum / 1024
	if got := squares/1024 - mean*mean; math.Abs(got-463.240935) > 1e-6 {
		t.Errorf("variance of the Laplacian %v, want 463.240935", got)
	}
}

func TestSobelOfPlane(t *testing.T) {
	src := make([]float32, 20*12)
	for i := range src {
		src[i] = 3*float32(i%20) - 2*float32(i/20)
	}
	gx, gy, l := make([]float32, 240), make([]float32, 240), make([]float32, 240)
	Sobel(gx, gy, src, 20, 12)
	Laplacian(l, src, 20, 12)
	for y := 1; y < 11; y++ {
		for x := 1; x < 19; x++ {
			if i := y*20 + x; gx[i] != 24 || gy[i] != -16 || l[i] != 0 {
				t.Fatalf("(%d, %d): %v, %v, %v, want 24, -16, 0", x, y, gx[i], gy[i], l[i])
			}
		}
	}
}

// slow is the convolution by its definition, mirrored.
func slow(src []float32, w, h int, taps []float32) []float64 {
	out := make([]float64, w*h)
	k := len(taps) - 1
	for y := range h {
		for x := range w {
			for j := -k; j <= k; j++ {
				for i := -k; i <= k; i++ {
					c := float64(taps[max(i, -i)]) * float64(taps[max(j, -j)])
					out[y*w+x] += c * float64(src[reflect(y+j, h)*w+reflect(x+i, w)])
				}
			}
		}
	}
	return out
}

func TestGaussianAgainstDefinition(t *testing.T) {
	for _, c := range []struct {
		w, h  int
		sigma float64
	}{{30, 20, 0.5}, {30, 20, 1.3}, {7, 5, 3}, {1, 9, 1}, {9, 1, 2}, {25, 40, 2}, {16, 16, 0.2}} {
		src := random(c.w*c.h, 3)
		want := slow(src, c.w, c.h, GaussianTaps(c.sigma))
		dst := make([]float32, c.w*c.h)
		Gaussian(dst, src, c.w, c.h, c.sigma)
		for i := range want {
			if math.Abs(float64(dst[i])-want[i]) > 1e-6 {
				t.Fatalf("%+v: pixel %d is %v, want %v", c, i, dst[i], want[i])
			}
		}
		Gaussian(src, src, c.w, c.h, c.sigma)
		for i := range dst {
			if src[i] != dst[i] {
				t.Fatalf("%+v: in place, pixel %d is %v, want %v", c, i, src[i], dst[i])
			}
		}
	}
}

// The blur of a spot has the variance asked for and keeps the sum.
func TestGaussianOfSpot(t *testing.T) {
	for _, sigma := range []float64{0.8, 1.5, 3} {
		src := make([]float32, 41*41)
		src[20*41+20] = 1
		Gaussian(src, src, 41, 41, sigma)
		sum, vx, vy := 0.0, 0.0, 0.0
		for i, v := range src {
			x, y := float64(i%41-20), float64(i/41-20)
			sum += float64(v)
			vx += float64(v) * x * x
			vy += float64(v) * y * y
		}
		// Cut at 4σ, a Gaussian lacks 0.1 % of its variance.
		if math.Abs(sum-1) > 1e-6 || math.Abs(vx/sigma/sigma-1) > 2e-3 || math.Abs(vy-vx) > 1e-6 {
			t.Errorf("σ %v: sum %v, variances %v, %v", sigma, sum, vx, vy)
		}
	}
	same := random(30, 1)
	out := make([]float32, 30)
	Gaussian(out, same, 6, 5, 0)
	for i := range same {
		if out[i] != same[i] {
			t.Fatal("σ 0 is not the identity")
		}
	}
}

func TestGaussianFilled(t *testing.T) {
	src := make([]float32, 30*30)
	for i := range src {
		src[i] = 5
		if i%30 > 15 {
			src[i] = nan
		}
	}
	dst := make([]float32, 900)
	GaussianFilled(dst, src, 30, 30, 2, 0.25)
	for i, v := range dst {
		x := i % 30
		if x <= 16 && math.Abs(float64(v)-5) > 1e-5 {
			t.Fatalf("column %d is %v, want 5", x, v)
		}
		if x >= 18 && v == v {
			t.Fatalf("column %d is %v, want nothing", x, v)
		}
	}
}

func TestBox(t *testing.T) {
	for _, r := range []int{0, 1, 3, 12} {
		src := random(17*11, 4)
		taps := make([]float32, r+1)
		for i := range taps {
			taps[i] = 1
		}
		want := slow(src, 17, 11, taps)
		Box(src, src, 17, 11, r)
		for i := range want {
			n := float64((2*r + 1) * (2*r + 1))
			if math.Abs(float64(src[i])-want[i]/n) > 1e-6 {
				t.Fatalf("radius %d: pixel %d is %v, want %v", r, i, src[i], want[i]/n)
			}
		}
	}
}

func TestDownscale(t *testing.T) {
	src := plane.Of(4, 2, []float32{1, 3, 5, 7, 1, 3, nan, nan})
	if got := Downscale(src, 2, 1).Pix[0]; got[0] != 2 || got[1] != 6 {
		t.Errorf("halved: %v, want [2 6]", got)
	}
	if got := Downscale(src, 4, 2).Pix[0]; got[5] != 3 || got[6] == got[6] {
		t.Errorf("same size: %v", got)
	}
	// Thirds: 3 pixels into 2 weigh 1, ½ | ½, 1.
	if got := Downscale(plane.Of(3, 1, []float32{0, 3, 6}), 2, 1).Pix[0]; got[0] != 1 || got[1] != 5 {
		t.Errorf("thirds: %v, want [1 5]", got)
	}
	// The mean is kept whatever the ratio.
	big := plane.Of(90, 70, random(6300, 5))
	mean := func(v []float32) (m float64) {
		for _, x := range v {
			m += float64(x)
		}
		return m / float64(len(v))
	}
	for _, wh := range [][2]int{{45, 35}, {37, 23}, {89, 1}, {1, 1}} {
		small := Downscale(big, wh[0], wh[1])
		if d := mean(small.Pix[0]) - mean(big.Pix[0]); math.Abs(d) > 1e-6 {
			t.Errorf("%v: the mean moved by %v", wh, d)
		}
	}
	if v := Downscale(plane.Of(2, 2, []float32{nan, nan, nan, 1}), 1, 1).Pix[0][0]; v == v {
		t.Errorf("a quarter of the data gave %v", v)
	}
}

func BenchmarkGaussian(b *testing.B) {
	src, dst := random(640*480, 1), make([]float32, 640*480)
	for _, sigma := range []float64{1, 3} {
		b.Run(map[float64]string{1: "640x480/1px", 3: "640x480/3px"}[sigma], func(b *testing.B) {
			for b.Loop() {
				Gaussian(dst, src, 640, 480, sigma)
			}
		})
	}
}

func BenchmarkSobel(b *testing.B) {
	src := random(640*480, 1)
	gx, gy := make([]float32, len(src)), make([]float32, len(src))
	for b.Loop() {
		Sobel(gx, gy, src, 640, 480)
	}
}
