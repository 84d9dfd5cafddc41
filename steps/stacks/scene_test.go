package stacks

import (
	"math"
	"math/rand/v2"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/raw"
)

const sceneW, sceneH = 128, 96

type hill struct{ x, y, s, a float64 }

// hills are a made-up terrain.
var hills = func() (out []hill) {
	r := rand.New(rand.NewPCG(7, 1))
	for range 90 {
		out = append(out, hill{160*r.Float64() - 16, 128*r.Float64() - 16, 1.5 + 2.5*r.Float64(), 0.3*r.Float64() - 0.12})
	}
	return out
}()

func ground(x, y float64) float64 {
	v := 0.4
	for _, h := range hills {
		if d := (x-h.x)*(x-h.x) + (y-h.y)*(y-h.y); d < 30*h.s*h.s {
			v += h.a * math.Exp(-d/(2*h.s*h.s))
		}
	}
	return v
}

func normal(r *rand.Rand) float64 {
	s := -6.0
	for range 12 {
		s += r.Float64()
	}
	return s
}

// bend is a smooth distortion, the k-th of a family; the mean over whole turns of k is 0.
func bend(k, n int, x, y float64) (dx, dy float64) {
	a := 2 * math.Pi * float64(k) / float64(n)
	return 1.2 * math.Sin(x/28+y/40) * math.Cos(a), 1.2 * math.Cos(y/30-x/50) * math.Sin(a)
}

// film records n frames that drift and bend, with 16 bit samples.
func film(n int, noise float64) (pipelinetest.File, clipIndex, map[string]any) {
	r := rand.New(rand.NewPCG(5, 6))
	var b []byte
	var shift [][2]float64
	var grade []float64
	var cells [][]float64
	for k := range n {
		s := [2]float64{0.37 * float64(k%5), -0.61 * float64(k%3)}
		shift, grade = append(shift, s), append(grade, 1+0.01*float64(k))
		cells = append(cells, []float64{1, 1, 1, 1})
		for y := range sceneH {
			for x := range sceneW {
				dx, dy := bend(k, n, float64(x), float64(y))
				v := 65535 * (ground(float64(x)-s[0]-dx, float64(y)-s[1]-dy) + noise*normal(r))
				u := uint16(max(0, min(65535, math.Round(v))))
				b = append(b, byte(u), byte(u>>8))
			}
		}
	}
	l := raw.Layout{Width: sceneW, Height: sceneH, Planes: 1, SampleBytes: 2, Pattern: raw.Mono, Stride: 2 * sceneW * sceneH}
	tab := map[string]any{"grade": grade, "shift": shift, "reference": 0, "cells": map[string]any{"nx": 2, "ny": 2, "grade": cells}}
	return b, clipIndex{Layout: l, Frames: n, White: 65535}, tab
}
