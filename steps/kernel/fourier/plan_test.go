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

// Every good length up to 64 against the definition of the transform.
func TestLineAgainstDefinition(t *testing.T) {
	for n := 1; n <= 64; n++ {
		if !smooth(n) {
			continue
		}
		for _, wh := range [][2]int{{n, 1}, {1, n}, {n, 3}} {
			w, h := wh[0], wh[1]
			re, im := noise(w*h, uint64(n)), noise(w*h, uint64(n)+99)
			want := make([]complex128, w*h)
			for v := range h {
				for u := range w {
					for y := range h {
						for x := range w {
							a := -2 * math.Pi * (float64(u*x)/float64(w) + float64(v*y)/float64(h))
							want[v*w+u] += complex(float64(re[y*w+x]), float64(im[y*w+x])) * cmplx.Exp(complex(0, a))
						}
					}
				}
			}
			New(w, h).Forward(re, im)
			for i := range want {
				// float32 rounding over log2(n) passes of values of a few units
				if d := cmplx.Abs(want[i] - complex(float64(re[i]), float64(im[i]))); d > 1e-5 {
					t.Fatalf("%d×%d: bin %d is %v%+vi, want %v", w, h, i, re[i], im[i], want[i])
				}
			}
		}
	}
}

// Source of the outside values: gonum v0.17, dsp/fourier (a general-purpose library).
func TestAgainstGonum(t *testing.T) {
	for _, n := range []int{120, 240, 375, 512, 1000} {
		re, im := noise(n, 5), noise(n, 6)
		in := make([]complex128, n)
		for i := range in {
			in[i] = complex(float64(re[i]), float64(im[i]))
		}
		want := fourier.NewCmplxFFT(n).Coefficients(nil, in)
		New(n, 1).Forward(re, im)
		for i := range want {
			if d := cmplx.Abs(want[i] - complex(float64(re[i]), float64(im[i]))); d > 2e-5 {
				t.Fatalf("length %d: bin %d differs by %g", n, i, d)
			}
		}
	}
}

func TestInverseUndoesForward(t *testing.T) {
	for _, wh := range [][2]int{{64, 48}, {90, 100}, {17 * 0, 1}, {1, 125}, {320, 240}} {
		w, h := max(wh[0], 1), wh[1]
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

func TestGood(t *testing.T) {
	for n, want := range map[int]int{-3: 1, 0: 1, 1: 1, 7: 8, 11: 12, 13: 15, 31: 32, 321: 324, 1281: 1296} {
		if got := Good(n); got != want {
			t.Errorf("Good(%d) = %d, want %d", n, got, want)
		}
	}
}

func BenchmarkForward(b *testing.B) {
	for _, wh := range [][2]int{{256, 256}, {512, 512}, {1280, 960}} {
		b.Run(fmt.Sprintf("%dx%d", wh[0], wh[1]), func(b *testing.B) {
			p := New(wh[0], wh[1])
			re, im := noise(wh[0]*wh[1], 1), noise(wh[0]*wh[1], 2)
			for b.Loop() {
				p.Forward(re, im)
				p.Inverse(re, im)
			}
		})
	}
}
