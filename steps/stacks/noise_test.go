package stacks

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

// plain stacks frames of one even brightness, each of its own gain, weight and place, behind a flat that falls off to
// the right, with noise as the model has it.
func plain(l raw.Layout, m noiseModel, light float64) *sums {
	r := rand.New(rand.NewPCG(3, 9))
	cv := canvas{X: 2, Y: 2, W: l.Width - 8, H: l.Height - 8}
	flat := plane.New(l.Width, l.Height, l.Planes)
	for _, p := range flat.Pix {
		for i := range p {
			p[i] = 1.3 - 0.9*float32(i%l.Width)/float32(l.Width)
		}
	}
	tab := &clipFrames{}
	tab.Cells.NX, tab.Cells.NY = 1, 1
	s := newSums(cv.plain(), l)
	s.noise = newNoiseGrid(cv, channels(l), flat)
	c := &clip{tab: *tab, w: l.Width, h: l.Height, idx: clipIndex{Layout: l}}
	for k := range 24 {
		gain := 0.5 + 0.05*float64(k%16)
		f := &laid{img: plane.New(l.Width, l.Height, l.Planes), dx: 2 * r.Float64(), dy: 2 * r.Float64(),
			cells: []float32{float32(0.2 + r.Float64())}, gain: float32(gain), colour: make([][2]float32, channels(l)), half: halfOf(k)}
		for ch, p := range f.img.Pix {
			for i := range p {
				q := float64(flat.Pix[ch][i])
				raw := light * gain * q
				p[i] = float32((raw + math.Sqrt(m.Base+m.Slope*raw)*r.NormFloat64()) / q)
			}
		}
		if c.mosaicked() {
			f.sieve = newSieve(l.Width, l.Height)
			f.sieve.sift(f.img)
		}
		n := newLayer(s, c, gridFor(cv), nil)
		for y := range cv.H {
			n.addRow(f, y)
		}
	}
	return s
}

// What the plane says must be the variance that the stack has: 24 frames of an even light, measured over places with a
// tenth of the falling-off flat in common.
func TestNoisePlaneTellsTheStacksVariance(t *testing.T) {
	for _, c := range []struct {
		name  string
		l     raw.Layout
		m     noiseModel
		light float64
	}{
		{"dark", raw.Layout{Width: 320, Height: 240, Planes: 1, Pattern: raw.Mono}, noiseModel{Base: 4e-4}, 0.3},
		{"photons", raw.Layout{Width: 320, Height: 240, Planes: 1, Pattern: raw.Mono}, noiseModel{Slope: 1e-3}, 0.5},
		{"three colours", raw.Layout{Width: 320, Height: 240, Planes: 3, Pattern: raw.RGB}, noiseModel{Base: 1e-4, Slope: 1e-3}, 0.5},
		{"colour filters", raw.Layout{Width: 320, Height: 240, Planes: 1, Pattern: raw.GRBG}, noiseModel{Base: 1e-4, Slope: 1e-3}, 0.5},
	} {
		s := plain(c.l, c.m, c.light)
		img, _, _ := s.finish(24)
		noise := s.noise.plane(img, s, c.m)
		for ch := range img {
			for _, part := range [][2]int{{20, 50}, {140, 170}, {270, 300}} {
				var said, got, n float64
				for y := 10; y < s.c.H-10; y++ {
					for x := part[0]; x < part[1]; x++ {
						d := float64(img[ch][y*s.c.W+x]) - c.light
						got += d * d
						said += float64(noise[ch][y*s.c.W+x]) * float64(noise[ch][y*s.c.W+x])
						n++
					}
				}
				// 6,000 pixels, of which neighbours go together: the variance scatters by 3 to 4 %.
				if r := got / said; r < 0.88 || r > 1.12 {
					t.Errorf("%s, channel %d, columns %v: variance %.3g is %.2f of what the plane says", c.name, ch, part, got/n, r)
				}
			}
		}
	}
}

func TestNoisePlaneIsUnknownWhereTheStackIs(t *testing.T) {
	s := plain(raw.Layout{Width: 64, Height: 48, Planes: 1, Pattern: raw.Mono}, noiseModel{Base: 1}, 0.5)
	for i := range s.c.W {
		s.cover[i] = 0
	}
	img, _, _ := s.finish(24)
	noise := s.noise.plane(img, s, noiseModel{Base: 1})[0]
	for i, v := range noise {
		if (v == v) != (i >= s.c.W) {
			t.Fatalf("noise %v at pixel %d", v, i)
		}
	}
}
