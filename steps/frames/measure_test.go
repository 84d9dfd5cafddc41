package frames

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/plane"
)

func noisy(seed uint64, w, h int, level, sigma float64) []float32 {
	r := rand.New(rand.NewPCG(seed, 9))
	out := make([]float32, w*h)
	for i := range out {
		out[i] = float32(level + sigma*normal(r))
	}
	return out
}

func TestEnergyOfNoiseIsAsComputed(t *testing.T) {
	const w, h, sigma = 256, 256, 0.02
	pix := noisy(1, w, h, 0.5, sigma)
	mean := func(pix []float32) float64 {
		b := newBlockSums(w, h, 16)
		b.measure(pix, w, h, 0, 0)
		var s, n float64
		for i, ok := range b.full {
			if ok {
				s, n = s+float64(b.energy[i]), n+1
			}
		}
		return s / n
	}
	// 65,536 values: the mean square scatters by about 1 %.
	if got, want := mean(pix), energyNoise*sigma*sigma; math.Abs(got-want) > 0.03*want {
		t.Errorf("white noise has energy %.3g, want %.3g", got, want)
	}
	l := make([]float32, w*h)
	luma(l, plane.Of(w, h, pix), true)
	if got, want := mean(l), energyNoiseMosaic*sigma*sigma; math.Abs(got-want) > 0.03*want {
		t.Errorf("white noise of a mosaic has energy %.3g, want %.3g", got, want)
	}
}

func TestEnergyOfASlope(t *testing.T) {
	const w, h = 64, 48
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = 0.25 * float32(i%w) // slope of ¼ along x: all differences are exact
	}
	b := newBlockSums(w, h, 8)
	b.measure(pix, w, h, 5, -3)
	for i, ok := range b.full {
		if ok && b.energy[i] != 0.25*0.25 {
			t.Fatalf("block %d: energy %g, want (¼)²: [−1 −2 0 2 1]/8 answers 1 to a slope of 1", i, b.energy[i])
		}
	}
	// Block (1, 1) covers x = 13…20, y = 5…12 of the frame.
	if got := b.level[1*b.nx+1]; got != 0.25*16.5 {
		t.Errorf("level %g, want %g", got, 0.25*16.5)
	}
}

func TestNoiseModel(t *testing.T) {
	const w, h, base, slope = 320, 320, 4e-6, 1e-4
	r := rand.New(rand.NewPCG(4, 4))
	pix := make([]float32, w*h)
	for y := range h {
		for x := range w {
			v := 0.1 + 0.7*float64(x)/w
			if y%80 < 16 {
				v += 0.05 * math.Sin(float64(x)*1.1) * math.Sin(float64(y)*1.3) // detail that is no noise
			}
			pix[y*w+x] = float32(v + math.Sqrt(base+slope*v)*normal(r))
		}
	}
	m := fitNoise(measureNoise(pix, w, h, 1))
	for _, level := range []float64{0.15, 0.4, 0.75} {
		// The lower quantile is corrected for by a rule, hence 15 %.
		if got, want := m.at(level), base+slope*level; math.Abs(got-want) > 0.15*want {
			t.Errorf("variance at %g is %.3g, want %.3g", level, got, want)
		}
	}
}

func TestLumaOfOneColourIsFlat(t *testing.T) {
	const w, h = 10, 8
	pix := make([]float32, w*h)
	rggb := [2][2]float32{{0.8, 0.4}, {0.4, 0.2}}
	for i := range pix {
		pix[i] = rggb[i/w%2][i%w%2]
	}
	out := make([]float32, w*h)
	luma(out, plane.Of(w, h, pix), true)
	for i, v := range out {
		if math.Abs(float64(v)-(0.8+2*0.4+0.2)/4) > 1e-6 {
			t.Fatalf("pixel %d is %g, want 0.45 everywhere, borders too", i, v)
		}
	}
}
