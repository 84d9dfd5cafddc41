package robust

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

var readings = []float64{9.9, 10.1, 10.0, 9.8, 10.2, 10.0, 9.9, 10.1, 25.0, 10.0}

// The figures are astropy's: sigma_clip(sigma=3) about the median, mad_std.
func TestSigmaClipAndMAD(t *testing.T) {
	c := SigmaClip(readings, 3, 5)
	near(t, "mean", c.Mean, 10, 1e-12)
	near(t, "sigma", c.Sigma, .1154701, 5e-8)
	if c.Kept != 9 || c.High >= 25 {
		t.Errorf("kept %d up to %v, want 9 without 25", c.Kept, c.High)
	}
	near(t, "Sigma", Sigma(readings), .1482602, 5e-8)
	m, d := MAD(readings)
	near(t, "median", m, 10, 0)
	near(t, "mad", d, .1, 1e-12)
}

func TestMADFactor(t *testing.T) {
	// Φ⁻¹(¾) solves erf(x/√2) = ½.
	near(t, "erf", math.Erf(1/MADToSigma/math.Sqrt2), 0.5, 1e-15)
}

func TestQuantileAgainstSorting(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 60; n++ {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(r.IntN(1 + n)) // with ties
		}
		before := slices.Clone(v)
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		for k := range n {
			q := 0.0
			if n > 1 {
				q = float64(k) / float64(n-1)
			}
			near(t, "order statistic", Quantile(v, q), float64(sorted[k]), 1e-6)
		}
		want := float64(sorted[(n-1)/2]+sorted[n/2]) / 2
		near(t, "Median", Median(v), want, 0)
		var s Scratch[float32]
		near(t, "Scratch.Median", s.Median(v), want, 0)
		if !slices.Equal(v, before) {
			t.Fatal("the input was reordered")
		}
	}
	// Type 7 of Hyndman & Fan (1996), as numpy.quantile has it by default.
	near(t, "Quantile", Quantile([]float64{1, 2, 4, 8}, 0.4), 2.4, 1e-12)
	q := Quantiles([]float64{8, 1, 4, 2}, 0, 0.4, 1)
	if q[0] != 1 || q[2] != 8 {
		t.Errorf("Quantiles = %v", q)
	}
}

func TestNothing(t *testing.T) {
	nan := math.NaN()
	for _, v := range [][]float64{nil, {nan}, {nan, nan}} {
		if m := Median(v); m == m {
			t.Errorf("Median(%v) = %v", v, m)
		}
		if c := SigmaClip(v, 3, 5); c.Mean == c.Mean || c.Kept != 0 {
			t.Errorf("SigmaClip(%v) = %+v", v, c)
		}
	}
	near(t, "Median", Median([]float64{nan, 3, nan, 1, 2}), 2, 0)
	m, s := Mean([]float64{nan, 1, 3})
	near(t, "Mean", m, 2, 0)
	near(t, "σ", s, 1, 0)
}

// The shift and the gain of data go through location and scale.
func TestEquivariance(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 2))
	v, u := make([]float64, 501), make([]float64, 501)
	for i := range v {
		v[i] = r.Float64()
		u[i] = 4*v[i] - 3
	}
	near(t, "Median", Median(u), 4*Median(v)-3, 1e-12)
	near(t, "Sigma", Sigma(u), 4*Sigma(v), 1e-12)
	near(t, "Quantile", Quantile(u, .9), 4*Quantile(v, .9)-3, 1e-12)
}

// Immerkær's (1996) mask on the picture (37i + 101j + 13ij) mod 17, computed by
// convolution with SciPy.
func TestImmerkaer(t *testing.T) {
	img := make([]float32, 64*64)
	for i := range 64 {
		for j := range 64 {
			img[i*64+j] = float32((37*i + 101*j + 13*i*j) % 17)
		}
	}
	near(t, "T", Immerkaer(img, 64, 64), 4.751986, 1e-6)

	r := rand.New(rand.NewPCG(9, 2))
	noise := make([]float32, 512*512)
	for i := range noise {
		s := -6.0
		for range 12 {
			s += r.Float64()
		}
		noise[i] = float32(s) + float32(i%512)*0.01 // a slope is no noise
	}
	near(t, "noise of σ 1", Immerkaer(noise, 512, 512), 1, 0.01)
	noise[1000*100] = float32(math.NaN())
	near(t, "with a hole", Immerkaer(noise, 512, 512), 1, 0.01)
	if v := Immerkaer([]float32{1, 2, 3, 4}, 2, 2); v == v {
		t.Errorf("of four pixels: %v", v)
	}
}

func TestWeights(t *testing.T) {
	near(t, "Huber within", Huber(-0.9, 1), 1, 0)
	near(t, "Huber beyond", Huber(-4, 1), 0.25, 0)
	near(t, "Biweight at 0", Biweight(0, 2), 1, 0)
	near(t, "Biweight at c/2", Biweight(1, 2), 0.5625, 0)
	near(t, "Biweight beyond", Biweight(-3, 2), 0, 0)
}

func FuzzSelect(f *testing.F) {
	f.Add([]byte{3, 1, 2, 2, 9}, 2)
	f.Fuzz(func(t *testing.T, b []byte, k int) {
		if len(b) == 0 || k < 0 || k >= len(b) {
			return
		}
		v := make([]float32, len(b))
		for i, x := range b {
			v[i] = float32(x)
		}
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		if got := Select(v, k); got != sorted[k] {
			t.Fatalf("Select(%v, %d) = %v, want %v", b, k, got, sorted[k])
		}
		for i, x := range v {
			if (i < k && x > v[k]) || (i > k && x < v[k]) {
				t.Fatalf("not parted at %d: %v", k, v)
			}
		}
	})
}

func BenchmarkMedian(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	v := make([]float32, 640*480)
	for i := range v {
		v[i] = float32(r.Float64())
	}
	var s Scratch[float32]
	b.Run("307200", func(b *testing.B) {
		for b.Loop() {
			s.Median(v)
		}
	})
	b.Run("64", func(b *testing.B) {
		for b.Loop() {
			s.Median(v[:64])
		}
	})
	b.Run("Immerkaer/640x480", func(b *testing.B) {
		for b.Loop() {
			Immerkaer(v, 640, 480)
		}
	})
}
