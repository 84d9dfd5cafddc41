package fourier

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

func noise(n int, seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 1))
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(r.Float64() - 0.5)
	}
	return out
}

// definition is the transform by its definition.
func definition(re, im []float32, w, h int) []complex128 {
	want := make([]complex128, w*h)
	for v := range h {
		for u := range w {
			for y := range h {
				for x := range w {
					a := -2 * math.Pi * (float64(u*x%w)/float64(w) + float64(v*y%h)/float64(h))
					want[v*w+u] += complex(float64(re[y*w+x]), float64(im[y*w+x])) * cmplx.Exp(complex(0, a))
				}
			}
		}
	}
	return want
}

// float32 rounding over log₂(n) passes of values of a few units.
const tolerance = 1e-5

func TestPlanAgainstDefinition(t *testing.T) {
	for n := 1; n <= 64; n++ {
		for _, wh := range [][2]int{{n, 1}, {1, n}, {n, 3}, {10, n % 21}} {
			w, h := wh[0], max(wh[1], 1)
			re, im := noise(w*h, uint64(n)), noise(w*h, uint64(n)+99)
			want := definition(re, im, w, h)
			New(w, h).Forward(re, im)
			for i := range want {
				if d := cmplx.Abs(want[i] - complex(float64(re[i]), float64(im[i]))); d > tolerance {
					t.Fatalf("%d×%d: bin %d is %v%+vi, want %v", w, h, i, re[i], im[i], want[i])
				}
			}
		}
	}
}

func TestRealAgainstDefinition(t *testing.T) {
	for n := 1; n <= 64; n++ {
		for _, wh := range [][2]int{{n, 1}, {1, n}, {n, 3}, {9, n % 37}, {8, 33}} {
			w, h := wh[0], max(wh[1], 1)
			src := noise(w*h, uint64(n))
			want := definition(src, make([]float32, w*h), w, h)
			p := NewReal(w, h)
			half := p.Half()
			re, im := make([]float32, half*h), make([]float32, half*h)
			p.Forward(src, re, im)
			for v := range h {
				for u := range half {
					got := complex(float64(re[v*half+u]), float64(im[v*half+u]))
					if d := cmplx.Abs(want[v*w+u] - got); d > tolerance {
						t.Fatalf("%d×%d: bin %d, %d is %v, want %v", w, h, u, v, got, want[v*w+u])
					}
				}
			}
			back := make([]float32, w*h)
			p.Inverse(back, re, im)
			for i := range src {
				if math.Abs(float64(back[i]-src[i])) > 2e-6 {
					t.Fatalf("%d×%d: pixel %d came back as %v, was %v", w, h, i, back[i], src[i])
				}
			}
		}
	}
}

// Source of the outside values: gonum v0.17, dsp/fourier (a general-purpose library).
func TestAgainstGonum(t *testing.T) {
	for _, n := range []int{77, 120, 240, 375, 512, 1000, 1280, 4096} {
		re, im := noise(n, 5), noise(n, 6)
		in := make([]complex128, n)
		for i := range in {
			in[i] = complex(float64(re[i]), float64(im[i]))
		}
		want := fourier.NewCmplxFFT(n).Coefficients(nil, in)
		New(n, 1).Forward(re, im)
		sum, worst := 0.0, 0.0
		for i := range want {
			d := cmplx.Abs(want[i] - complex(float64(re[i]), float64(im[i])))
			worst = max(worst, d)
			sum += d * d
		}
		rms := math.Sqrt(sum/float64(n)) / math.Sqrt(float64(n)/6)
		t.Logf("length %d: relative rms error %.2g", n, rms)
		// Rounding grows as √log n times 2⁻²⁴ = 6e-8 in rms.
		if rms > 3e-7 || worst > 1e-6*math.Sqrt(float64(n)) {
			t.Fatalf("length %d: relative rms error %g, worst %g", n, rms, worst)
		}
	}
}

func TestInverseUndoesForward(t *testing.T) {
	for _, wh := range [][2]int{{64, 48}, {90, 100}, {1, 125}, {125, 1}, {77, 26}, {320, 240}} {
		w, h := wh[0], wh[1]
		re, im := noise(w*h, 1), noise(w*h, 2)
		r0, i0 := append([]float32{}, re...), append([]float32{}, im...)
		p := New(w, h)
		p.Forward(re, im)
		p.Inverse(re, im)
		for i := range re {
			if math.Abs(float64(re[i]-r0[i])) > 2e-6 || math.Abs(float64(im[i]-i0[i])) > 2e-6 {
				t.Fatalf("%d×%d: pixel %d came back as %v, %v; was %v, %v", w, h, i, re[i], im[i], r0[i], i0[i])
			}
		}
	}
}

// The roots that lie on the axes and diagonals are exact, so constants and
// alternations transform without a trace elsewhere.
func TestRootsOnTheAxes(t *testing.T) {
	for _, n := range []int{4, 8, 12, 100} {
		for q, want := range [][2]float32{{1, 0}, {0, -1}, {-1, 0}, {0, 1}} {
			if c, s := root(q*n/4, n); c != want[0] || s != want[1] {
				t.Errorf("root(%d/4) of %d = %v, %v, want %v", q, n, c, s, want)
			}
		}
	}
	if c, s := root(1, 8); c != -s {
		t.Errorf("an eighth of a turn: %v, %v", c, s)
	}
}

func TestGood(t *testing.T) {
	for n, want := range map[int]int{-3: 1, 0: 1, 1: 1, 7: 8, 11: 12, 13: 15, 31: 32, 321: 324, 1281: 1296} {
		if got := Good(n); got != want {
			t.Errorf("Good(%d) = %d, want %d", n, got, want)
		}
	}
}

func TestPlanIsSafeForConcurrentUse(t *testing.T) {
	p := NewReal(60, 50)
	src := noise(3000, 3)
	spectrum := func() []float32 {
		re, im := make([]float32, p.Half()*50), make([]float32, p.Half()*50)
		p.Forward(src, re, im)
		return append(re, im...)
	}
	want := spectrum()
	results := make(chan []float32)
	for range 8 {
		go func() { results <- spectrum() }()
	}
	for range 8 {
		for i, v := range <-results {
			if v != want[i] {
				t.Errorf("bin %d differs between goroutines", i)
				break
			}
		}
	}
}

func BenchmarkForward(b *testing.B) {
	for _, wh := range [][2]int{{256, 256}, {512, 512}, {1280, 960}} {
		w, h := wh[0], wh[1]
		src, src2 := noise(w*h, 1), noise(w*h, 2)
		re, im := make([]float32, w*h), make([]float32, w*h)
		b.Run(fmt.Sprintf("complex/%dx%d", w, h), func(b *testing.B) {
			p := New(w, h)
			for b.Loop() {
				copy(re, src)
				copy(im, src2)
				p.Forward(re, im)
			}
		})
		b.Run(fmt.Sprintf("real/%dx%d", w, h), func(b *testing.B) {
			p := NewReal(w, h)
			for b.Loop() {
				p.Forward(src, re, im)
			}
		})
	}
}
