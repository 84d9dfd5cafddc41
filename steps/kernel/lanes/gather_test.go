package lanes

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestGatherSameBits(t *testing.T) {
	needFast(t)
	const stride = 40
	pix := numbers(7, stride*30)
	taps := make(Taps, 17)
	for k := range taps {
		copy(taps[k][:], numbers(uint64(50+k), Width))
	}
	r := rand.New(rand.NewPCG(3, 3))
	for n := 1; n < 40; n++ {
		places := someplace(r, n, stride*24)
		got, want := make([]float32, n), make([]float32, n)
		Gather(got, pix, stride, places, taps)
		gather(want, pix, stride, places, taps)
		same(t, "Gather", got, want)
	}
}

func gathered(n int) (Gathered, [][]float32) {
	g := Gathered{make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
	return g, [][]float32{g.Value, g.Weight, g.Right, g.Down}
}

func TestGatherThreeSameBits(t *testing.T) {
	needFast(t)
	const stride = 40
	pix := numbers(7, stride*30)
	pix[55] = float32(math.NaN())
	taps := make([]Three, 17)
	for k := range taps {
		copy(taps[k][:], numbers(uint64(50+k), Width))
	}
	r := rand.New(rand.NewPCG(3, 4))
	for n := 1; n < 40; n++ {
		places := someplace(r, n, stride*27)
		g, got := gathered(n)
		w, want := gathered(n)
		GatherThree(g, pix, stride, places, taps)
		gatherThree(w, pix, stride, places, taps)
		for i := range want[0] { // what is not a number has no one sign
			if got[0][i] != got[0][i] && want[0][i] != want[0][i] {
				got[0][i], want[0][i] = 0, 0
			}
		}
		for k := range want {
			same(t, "GatherThree", got[k], want[k])
		}
	}
}

// By hand: taps (1, 2, 3) along and (−1, 0, 2) down on rows that count up, beside a pixel that is no number.
func TestGatherThreeByHand(t *testing.T) {
	nan := float32(math.NaN())
	pix := []float32{1, 2, 3, nan, 9, 9, 9, nan, 4, 5, 6, nan}
	g, got := gathered(1)
	GatherThree(g, pix, 4, Places{[]int32{0}, []int32{0}, []int32{1}}, []Three{{1, 2, 3, 6, 0.5}, {-1, 0, 2, 1, 7}})
	// −(1+4+9) + 2·(4+10+18), 6·1, 0.5·1 and 6·7
	for k, want := range []float32{50, 6, 0.5, 42} {
		if got[k][0] != want {
			t.Errorf("row %d is %v, want %v", k, got[k][0], want)
		}
	}
}

// A single tap takes the picture as it is; taps that add up to one leave a constant.
func TestGatherTakesPixels(t *testing.T) {
	pix := numbers(1, 40*20)
	one := Taps{{0, 0, 1}, {0.25, -0.5, 1.25}}
	places := NewPlaces(3)
	copy(places.At, []int32{0, 41, 3*40 + 7})
	got := make([]float32, 3)
	Gather(got, pix, 40, places, one)
	for i, at := range places.At {
		if want := pix[int(at)+2*40+2]; got[i] != want {
			t.Errorf("place %d is %v, want %v", i, got[i], want)
		}
	}
	for i := range pix {
		pix[i] = 3
	}
	Gather(got, pix, 40, Places{[]int32{0, 1, 2}, []int32{1, 1, 0}, []int32{1, 0, 1}}, one)
	for i, v := range got {
		if v != 3 {
			t.Errorf("constant %d becomes %v", i, v)
		}
	}
}
