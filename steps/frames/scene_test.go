package frames

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/raw"
)

// ground is a smooth made-up terrain, the same wherever it is looked at: x and y
// are places, blur widens every hill.
func ground(x, y, blur float64) float64 {
	v := 0.4
	r := rand.New(rand.NewPCG(7, 1))
	for range 60 {
		cx, cy, s, a := 170*r.Float64()-15, 140*r.Float64()-15, 1.6+3*r.Float64(), 0.3*r.Float64()-0.12
		q := s*s + blur*blur
		d := (x-cx)*(x-cx) + (y-cy)*(y-cy)
		if d < 30*q {
			v += a * s * s / q * math.Exp(-d/(2*q))
		}
	}
	return v
}

// normal returns nearly normal noise: the sum of twelve uniform values less 6.
func normal(r *rand.Rand) float64 {
	s := -6.0
	for range 12 {
		s += r.Float64()
	}
	return s
}

// shot is one made-up frame.
type shot struct{ dx, dy, blur, gain float64 }

const shotW, shotH = 144, 112

// film records shots with 8 bit samples and some noise.
func film(t testing.TB, seed uint64, noise float64, shots ...shot) (pipelinetest.File, clipIndex) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 2))
	var b []byte
	for _, s := range shots {
		for y := range shotH {
			for x := range shotW {
				v := 255*s.gain*ground(float64(x)-s.dx, float64(y)-s.dy, s.blur) + noise*normal(r)
				b = append(b, byte(max(0, min(255, math.Round(v)))))
			}
		}
	}
	return b, clipIndex{Layout: monoLayout(shotW, shotH), Frames: len(shots), Depth: 8, White: 255}
}

func monoLayout(w, h int) raw.Layout {
	return raw.Layout{Width: w, Height: h, Planes: 1, SampleBytes: 1, Pattern: raw.Mono, Stride: int64(w * h)}
}
