package stacks

import (
	"math"
	"math/rand/v2"
	"testing"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

var patterns = []string{raw.RGGB, raw.GRBG, raw.GBRG, raw.BGGR, raw.CYYM, raw.YCMY, raw.YMCY, raw.MYYC}

// lay stacks mosaics of a scene, given by channel and place, that were taken with shifts.
func lay(pattern string, w, h int, scale float64, shifts [][2]float64, scene func(ch int, x, y float64) float64) ([][]float32, canvas) {
	l := raw.Layout{Width: w, Height: h, Planes: 1, Pattern: pattern}
	sites := siteChannels(pattern)
	r := raster{canvas{W: w, H: h}, scale}
	s := newSums(r, l)
	c := &clip{w: w, h: h, idx: clipIndex{Layout: l}}
	c.tab.Cells.NX, c.tab.Cells.NY = 1, 1
	k := newLayer(s, c, gridFor(r.canvas))
	for _, d := range shifts {
		f := &laid{img: plane.New(w, h, 1), sieve: newSieve(w, h), dx: d[0], dy: d[1], cells: []float32{1}, gain: 1, colour: make([][2]float32, 3), reach: edgeTaps}
		for y := range h {
			for x := range w {
				f.img.Pix[0][y*w+x] = float32(scene(sites[y&1][x&1], float64(x)-d[0], float64(y)-d[1]))
			}
		}
		f.sieve.sift(f.img)
		for y := range s.c.H {
			k.addRow(f, y)
		}
	}
	img, _ := s.finish(len(shifts))
	return img, s.c
}

// wander are shifts as the mount and the air bring them: anywhere within some pixels.
func wander(n int) [][2]float64 {
	r := rand.New(rand.NewPCG(11, 12))
	out := make([][2]float64, n)
	for i := range out {
		out[i] = [2]float64{4*r.Float64() - 2, 4*r.Float64() - 2}
	}
	return out
}

func TestSitesOfPatterns(t *testing.T) {
	if got := *siteChannels(raw.GBRG); got != [2][2]int{{1, 2}, {0, 1}} {
		t.Errorf("sites of GBRG are %v", got)
	}
	if got := *siteChannels(raw.MYYC); got != [2][2]int{{2, 1}, {1, 0}} {
		t.Errorf("sites of MYYC are %v", got)
	}
}

// A plain field of one colour stays what it is, whatever the pattern, the shift, the number of frames and the scale, up to the border.
func TestPlainColourStaysPlain(t *testing.T) {
	colour := [3]float64{0.6, 0.3, 0.1}
	for _, pattern := range patterns {
		for _, scale := range []float64{1, 1.37, 2} {
			for _, shifts := range [][][2]float64{{{0, 0}}, {{0.5, 0.25}}, {{0.31, 1.77}, {-0.6, 0.02}}, wander(9)} {
				img, cv := lay(pattern, 39, 32, scale, shifts, func(ch int, _, _ float64) float64 { return colour[ch] })
				for ch, pix := range img {
					for i, v := range pix {
						x, y := float64(i%cv.W)/scale, float64(i/cv.W)/scale
						inside := x >= 3 && y >= 3 && x <= 35 && y <= 28
						if v != v && inside || math.Abs(float64(v)-colour[ch]) > 2e-6 {
							t.Fatalf("%s, scale %g, %d frames: channel %d is %v at (%.1f, %.1f), want %v", pattern, scale, len(shifts), ch, v, x, y, colour[ch])
						}
					}
				}
			}
		}
	}
}

// A wave of 0.4 cycles a pixel, beyond the 0.25 that the samples of red and blue in one frame can hold, comes back from many
// frames with the amplitude that the kernel leaves it, and in its place.
func TestWaveNearThePassbandsEnd(t *testing.T) {
	const w, h = 96, 80
	for _, pattern := range []string{raw.RGGB, raw.GBRG} {
		for _, scale := range []float64{1, 1.5} {
			for _, freq := range []float64{0.1, 0.3, 0.4} {
				wave := func(x, y float64) float64 { return math.Cos(2 * math.Pi * (0.8*freq*x + 0.6*freq*y)) }
				img, cv := lay(pattern, w, h, scale, wander(150), func(ch int, x, y float64) float64 { return 0.5 + 0.2*float64(ch+1)*wave(x, y) })
				for ch, pix := range img {
					var fit, square, left float64
					for y := 12; y < cv.H-12; y++ {
						for x := 12; x < cv.W-12; x++ {
							g := wave((float64(x)+0.5)/scale-0.5, (float64(y)+0.5)/scale-0.5)
							fit, square = fit+g*(float64(pix[y*cv.W+x])-0.5), square+g*g
						}
					}
					a := fit / square
					for y := 12; y < cv.H-12; y++ {
						for x := 12; x < cv.W-12; x++ {
							d := float64(pix[y*cv.W+x]) - 0.5 - a*wave((float64(x)+0.5)/scale-0.5, (float64(y)+0.5)/scale-0.5)
							left += d * d
						}
					}
					a /= 0.2 * float64(ch+1)
					want := lanczosGain(0.8*freq) * lanczosGain(0.6*freq)
					t.Logf("%s, scale %g, %g cycles/px, channel %d: %.3f, want %.3f, rest %.3f", pattern, scale, freq, ch, a, want, math.Sqrt(2*left/square)/(0.2*float64(ch+1))*math.Sqrt(square/float64((cv.W-24)*(cv.H-24))))
				}
			}
		}
	}
}

// lanczosGain is the transfer of sinc(x)·sinc(x/3), the integral of it times cos 2πfx over −3…3.
func lanczosGain(f float64) float64 {
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x)
	}
	const n = 6000
	sum := 0.0
	for k := range n {
		x := 6*(float64(k)+0.5)/n - 3
		sum += sinc(x) * sinc(x/3) * math.Cos(2*math.Pi*f*x) * 6 / n
	}
	return sum
}
