package lanes

import (
	"testing"
)

func benchmark(b *testing.B, bytes int, quick, plain func()) {
	for name, f := range map[string]func(){"assembly": quick, "go": plain} {
		b.Run(name, func(b *testing.B) {
			if name == "assembly" && !fast {
				b.Skip("this processor runs the plain Go")
			}
			b.SetBytes(int64(bytes))
			for b.Loop() {
				f()
			}
		})
	}
}

func BenchmarkSpline(b *testing.B) {
	r, dst := numbers(1, 640), make([]float32, 640)
	benchmark(b, 640*4, func() { Spline(dst, r, r, r, r, r) }, func() { spline(dst, r, r, r, r, r) })
}

func BenchmarkAddPairs(b *testing.B) {
	r, dst := numbers(1, 640), make([]float32, 640)
	benchmark(b, 640*4, func() { AddPairs(dst, r, r, r, r, .3, .1) }, func() { addPairs(dst, r, r, r, r, .3, .1) })
}

func BenchmarkSlopes(b *testing.B) {
	r, dst := numbers(1, 642), make([]float32, 640)
	benchmark(b, 640*4, func() { Slopes(dst, r, r, r, r, r) }, func() { slopes(dst, r, r, r, r, r) })
}

func BenchmarkCell(b *testing.B) {
	r, k := numbers(1, 640*11), [4]float32{-.1, .6, .6, -.1}
	var s Sums
	benchmark(b, 64*4, func() { Cell(&s, r, 640, &k, &k, r, r, r, 640) }, func() { cell(&s, r, 640, &k, &k, r, r, r, 640, nil) })
}

func BenchmarkGather(b *testing.B) {
	r, dst, places := numbers(1, 640*8), make([]float32, 600), NewPlaces(600)
	taps := Taps{{-.1, .1, .5, .5, .1, -.1}}
	for i := range places.At {
		places.At[i] = int32(i)
	}
	benchmark(b, 600*4, func() { Gather(dst, r, 640, places, taps) }, func() { gather(dst, r, 640, places, taps) })
}
