package stacks

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/kernel/frc"
)

// blurredHalves are two halves of white ground, each pixel of which is blurred by a Gauss curve of its own width, with independent noise
// of a standard deviation of noise beside the ground's of 1.
func blurredHalves(w, h int, blur func(x int) float64, noise float64, seed uint64) halves {
	const reach = 12
	r := rand.New(rand.NewPCG(seed, 7))
	pw, ph := w+2*reach, h+2*reach
	ground, rows := make([]float64, pw*ph), make([]float64, w*ph)
	for i := range ground {
		ground[i] = r.NormFloat64()
	}
	taps := make([][2*reach + 1]float64, w)
	for x := range taps {
		sum, s := 0.0, blur(x)
		for k := range taps[x] {
			taps[x][k] = math.Exp(-float64((k-reach)*(k-reach)) / (2 * s * s))
			sum += taps[x][k]
		}
		for k := range taps[x] {
			taps[x][k] /= sum
		}
	}
	for y := range ph {
		for x := range w {
			for k, v := range taps[x] {
				rows[y*w+x] += v * ground[y*pw+x+k]
			}
		}
	}
	out := halves{a: make([]float32, w*h), b: make([]float32, w*h), cv: canvas{W: w, H: h}, x1: w, y1: h}
	for i := range out.a {
		v := 0.0
		for k, t := range taps[i%w] {
			v += t * rows[(i/w+k)*w+i%w]
		}
		out.a[i], out.b[i] = float32(v+noise*r.NormFloat64()), float32(v+noise*r.NormFloat64())
	}
	return out
}

// Over a field whose blur doubles from left to right, each window says what holds at its own place.
func TestWindowsFollowTheBlur(t *testing.T) {
	const w, h = 700, 400
	blur := func(x int) float64 { return 1 + float64(x)/w }
	for _, noise := range []float64{0.02, 0.2} {
		both := blurredHalves(w, h, blur, noise, 1)
		f := both.windows(finestWindow)
		if f.NX != 10 || f.NY != 6 || f.X0 != 63.5 || f.X0+float64(f.NX-1)*f.StepX != w-1-63.5 {
			t.Fatalf("windows are %d × %d from %g by %g", f.NX, f.NY, f.X0, f.StepX)
		}
		var mean, square float64
		for k := range f.Limit {
			off := both.limitIn(&f, k)/crossing(blur(int(f.X0+float64(k%f.NX)*f.StepX)), noise, finestWindow) - 1
			mean, square = mean+off/float64(len(f.Limit)), square+off*off/float64(len(f.Limit))
		}
		if scatter := math.Sqrt(square - mean*mean); math.Abs(mean) > 0.02 || scatter > 0.04 {
			t.Errorf("noise %g: limits lie %+.1f %% off, and scatter by %.1f %%", noise, 100*mean, 100*scatter)
		}
	}
}

// Bare sky tells nothing, and neither does a panel smaller than a window.
func TestWindowsWithoutDetailAreUnknown(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	const w, h = 500, 300
	sky := halves{a: make([]float32, w*h), b: make([]float32, w*h), cv: canvas{W: w, H: h}, x1: w, y1: h}
	for i := range sky.a {
		glow := 0.1 + 0.0004*float64(i%w)
		sky.a[i], sky.b[i] = float32(glow+0.1*r.NormFloat64()), float32(glow+0.1*r.NormFloat64())
	}
	f := sky.windows(finestWindow)
	for k := range f.Limit {
		if got := sky.limitIn(&f, k); got != 0 {
			t.Errorf("window %d of the sky agrees up to %g cycles/px", k, got)
		}
	}
	sky.x1 = finestWindow - 1
	if f := sky.windows(finestWindow); f.NX != 0 || len(f.Limit) != 0 {
		t.Errorf("%d windows in a panel narrower than one", f.NX)
	}
}

// crossing is where two halves of such ground agree by half a bit: the ground's power, 1, falls by exp(−4π²σ²f²), the noise's is noise²,
// and the correlation is their share S/(S+N).
func crossing(blur, noise float64, side int) float64 {
	f := 0.2
	for range 50 {
		n := 2 * math.Pi * f * float64(side)
		c := frc.HalfBit(n)
		f = math.Sqrt(math.Log((1-c)/(c*noise*noise))) / (2 * math.Pi * blur)
	}
	return f
}
