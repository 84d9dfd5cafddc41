package lanes

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// someplace returns n places in a picture of so many, with 17 rows of taps.
func someplace(r *rand.Rand, n, pixels int) Places {
	p := NewPlaces(n)
	for i := range n {
		p.At[i], p.X[i], p.Y[i] = int32(r.IntN(pixels)), int32(r.IntN(17)), int32(r.IntN(17))
	}
	return p
}

func TestLocateSameBits(t *testing.T) {
	needFast(t)
	r := rand.New(rand.NewPCG(4, 4))
	for n := 1; n < 40; n++ {
		x, y := make([]float32, n), make([]float32, n)
		for i := range n {
			x[i], y[i] = 5+float32(2000*r.Float64()), 5+float32(2000*r.Float64())
		}
		for _, g := range []Lattice{{2048, 2, 8, 0, 0}, {1024, 1, 9, 256, 0}, {1023, 1, 9, 0, 256}} {
			got, want := NewPlaces(n), NewPlaces(n)
			Locate(got, x, y, 0.3, -1.7, g)
			locate(want, x, y, 0.3, -1.7, g)
			if !slices.Equal(got.At, want.At) || !slices.Equal(got.X, want.X) || !slices.Equal(got.Y, want.Y) {
				t.Fatalf("%+v: assembly has %v, Go %v", g, got, want)
			}
		}
	}
}

// Place (10.25, 7) lies 64 phases behind pixel 10 and on row 7; of samples on every second pixel from the first on, behind
// number 5 by the same, and half way from number 3 to 4 down.
func TestLocateByHand(t *testing.T) {
	p := NewPlaces(1)
	Locate(p, []float32{10}, []float32{7.5}, 0.25, -0.5, Lattice{Stride: 100, Before: 2, Bits: 8})
	if p.At[0] != 5*100+8 || p.X[0] != 64 || p.Y[0] != 0 {
		t.Errorf("%v", p)
	}
	Locate(p, []float32{10}, []float32{7.5}, 0.25, -0.5, Lattice{Stride: 100, Before: 1, Bits: 9})
	if p.At[0] != 2*100+4 || p.X[0] != 64 || p.Y[0] != 256 {
		t.Errorf("%v", p)
	}
}

func TestPlacesBeyondThePicturePanic(t *testing.T) {
	for name, p := range map[string]Places{
		"before": {[]int32{-1}, []int32{0}, []int32{0}}, "behind": {[]int32{3}, []int32{0}, []int32{0}}, "taps": {[]int32{0}, []int32{1}, []int32{0}},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			Gather(make([]float32, 1), make([]float32, 5*10+8+2), 10, p, make(Taps, 1))
		}()
	}
}
