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
	s := laySums(pattern, w, h, scale, shifts, scene)
	img, _, _ := s.finish(len(shifts))
	return img, s.c
}

func laySums(pattern string, w, h int, scale float64, shifts [][2]float64, scene func(ch int, x, y float64) float64) *sums {
	l := raw.Layout{Width: w, Height: h, Planes: 1, Pattern: pattern}
	sites := siteChannels(pattern)
	r := raster{canvas{W: w, H: h}, scale}
	s := newSums(r, l)
	c := &clip{w: w, h: h, idx: clipIndex{Layout: l}}
	c.tab.Cells.NX, c.tab.Cells.NY = 1, 1
	k := newLayer(s, c, gridFor(r.canvas), nil)
	for _, d := range shifts {
		f := &laid{img: plane.New(w, h, 1), sieve: newSieve(w, h), dx: d[0], dy: d[1], cells: []float32{1}, gain: 1, colour: make([][2]float32, 3)}
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
	return s
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

// amplitude fits a wave to what is left of a picture when its mean level is off, and returns also the rms of the rest.
func amplitude(pix []float32, cv canvas, level float64, wave func(x, y int) float64) (a, rest float64) {
	const edge = 12
	each := func(do func(i int, g float64)) {
		for y := edge; y < cv.H-edge; y++ {
			for x := edge; x < cv.W-edge; x++ {
				do(y*cv.W+x, wave(x, y))
			}
		}
	}
	var fit, square, n float64
	each(func(i int, g float64) { fit, square, n = fit+g*(float64(pix[i])-level), square+g*g, n+1 })
	a = fit / square
	each(func(i int, g float64) { d := float64(pix[i]) - level - a*g; rest += d * d })
	return a, math.Sqrt(rest / n)
}

// A wave of 0.4 cycles a pixel, beyond the 0.25 that the samples of red and blue in one frame can hold, comes back from many
// frames in its place and with the amplitude that the kernel leaves it. What is folded over at 0.25 in one frame all but cancels:
// one of 150 frames adds 1/√150 = 0.08 of it, in the mean.
func TestWaveNearThePassbandsEnd(t *testing.T) {
	const w, h = 80, 72
	for _, pattern := range []string{raw.RGGB, raw.GBRG} {
		for _, scale := range []float64{1, 1.5} {
			for _, freq := range []float64{0.1, 0.3, 0.4} {
				wave := func(x, y float64) float64 { return math.Cos(2 * math.Pi * freq * (0.8*x + 0.6*y)) }
				img, cv := lay(pattern, w, h, scale, wander(150), func(ch int, x, y float64) float64 { return 0.5 + 0.1*float64(ch+1)*wave(x, y) })
				want := lanczosGain(0.8*freq) * lanczosGain(0.6*freq)
				for ch, pix := range img {
					a, rest := amplitude(pix, cv, 0.5, func(x, y int) float64 { return wave((float64(x)+0.5)/scale-0.5, (float64(y)+0.5)/scale-0.5) })
					a, rest = a/(0.1*float64(ch+1)), rest/(0.1*float64(ch+1))
					if math.Abs(a/want-1) > 0.02 || rest > 0.1*freq/0.4 {
						t.Errorf("%s, scale %g, %g cycles/px, channel %d: amplitude %.3f, want %.3f; rest %.3f", pattern, scale, freq, ch, a, want, rest)
					}
				}
			}
		}
	}
}

// A slope comes out as it is from a single frame too, but for what lies between its samples.
func TestSlopeFromFewFrames(t *testing.T) {
	slope := func(ch int, x, y float64) float64 { return 0.2*float64(ch+1) + 0.002*x - 0.001*y }
	for n, most := range map[int]float64{1: 0.0025, 4: 0.0006, 30: 1e-4} {
		img, cv := lay(raw.GBRG, 40, 32, 1, wander(n), slope)
		for ch, pix := range img {
			for y := 5; y < cv.H-5; y++ {
				for x := 5; x < cv.W-5; x++ {
					if got, want := float64(pix[y*cv.W+x]), slope(ch, float64(x), float64(y)); !(math.Abs(got-want) <= most) {
						t.Fatalf("%d frames, channel %d at (%d, %d): %.5f, want %.5f", n, ch, x, y, got, want)
					}
				}
			}
		}
	}
}

// The sums over frames are what adding them one by one gives: with W the weight so far and a·w that of the next, the value
// becomes (d·a·w + I·W)/(a·w + W) (Fruchter & Hook 2002, PASP 114:144). The weight is taken from the
// definition here: sinc(d)·sinc(d/3) at the true distance of every sample of the colour.
func TestSumsAgainstFrameByFrame(t *testing.T) {
	const w, h, x0, y0 = 40, 38, 19, 18
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x)
	}
	kernel := func(d float64) float64 {
		if math.Abs(d) >= 3 {
			return 0
		}
		return sinc(d) * sinc(d/3)
	}
	shifts := wander(12)
	for i := range shifts { // on the grid of phases that taps are kept for
		shifts[i] = [2]float64{math.Round(256*shifts[i][0]) / 256, math.Round(256*shifts[i][1]) / 256}
	}
	scene := func(ch int, x, y float64) float64 { return 0.3 + 0.1*float64(ch)*math.Sin(x/3)*math.Cos(y/4) }
	sites := siteChannels(raw.BGGR)
	var value, weight [3]float64
	for _, d := range shifts {
		px, py := x0+d[0], y0+d[1]
		var along, down float64 // of all sites
		for k := range w {
			along += kernel(float64(k) - px)
			down += kernel(float64(k) - py)
		}
		var data, aw [3]float64
		for y := range h {
			for x := range w {
				a := kernel(float64(x)-px) * kernel(float64(y)-py) / (along * down)
				ch := sites[y&1][x&1]
				data[ch] += a * scene(ch, float64(x)-d[0], float64(y)-d[1])
				aw[ch] += a
			}
		}
		for ch := range data {
			value[ch] = (data[ch] + value[ch]*weight[ch]) / (aw[ch] + weight[ch])
			weight[ch] += aw[ch]
		}
	}
	s := laySums(raw.BGGR, w, h, 1, shifts, scene)
	all := s.both()
	for ch := range value {
		i := y0*s.c.W + x0
		n, v := float64(all.weight[ch][i]), float64(all.value[ch][i]/all.weight[ch][i])
		if math.Abs(n/weight[ch]-1) > 1e-4 || math.Abs(v-value[ch]) > 1e-4 {
			t.Errorf("channel %d: value %.5f with weight %.5f, want %.5f with %.5f", ch, v, n, value[ch], weight[ch])
		}
	}
}

// Half a pixel behind a sample its site's lie −½, −2½ and 1½ off; sinc(x)·sinc(x/3) there from scipy, over its sum .994299 as in
// TestLanczosTaps.
func TestSiteTaps(t *testing.T) {
	taps := siteTaps[tapPhases+tapPhases/2]
	for j, w := range []float64{.024317, .607927, -.135095, .024317 + .607927 - .135095} {
		if got := float64(taps[j]); math.Abs(got-w/.994299) > 2e-6 {
			t.Errorf("number %d is %.6f, want %.6f", j, got, w/.994299)
		}
	}
	for k := range siteTaps { // those of both kinds of sites are one together
		if s := siteTaps[k][3] + siteTaps[(k+tapPhases)%sitePhases][3]; math.Abs(float64(s)-1) > 1e-6 {
			t.Fatalf("phase %d: sums of both kinds are %v together", k, s)
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

func BenchmarkAddFrame(b *testing.B) {
	const w, h = 640, 480
	for _, pattern := range []string{raw.Mono, raw.RGGB} {
		b.Run(pattern, func(b *testing.B) {
			l := raw.Layout{Width: w, Height: h, Planes: 1, Pattern: pattern}
			r := canvas{W: w, H: h}.plain()
			s := newSums(r, l)
			c := &clip{w: w, h: h, idx: clipIndex{Layout: l}}
			c.tab.Cells.NX, c.tab.Cells.NY = 1, 1
			g := gridFor(r.canvas)
			k := newLayer(s, c, g, nil)
			f := &laid{img: plane.New(w, h, 1), dx: 0.3, dy: 0.4, field: newField(g), cells: []float32{1}, gain: 1, colour: make([][2]float32, 3)}
			b.SetBytes(w * h)
			for b.Loop() {
				if c.mosaicked() {
					if f.sieve == nil {
						f.sieve = newSieve(w, h)
					}
					f.sieve.sift(f.img)
				}
				for y := range h {
					k.addRow(f, y)
				}
			}
		})
	}
}
