package mosaic

import (
	"image"
	"math"
	"slices"

	"plenilune/steps/kernel/warp"
	"plenilune/steps/kernel/wavelet"
)

// noiseStep is how far apart, in pixels of a panel, its noise is kept: it changes slowly.
const noiseStep = 4

// fineNoise is the standard deviation of a panel's noise on a coarse grid.
type fineNoise struct {
	w, h  int
	sigma [][]float32 // a channel
}

// fineNoiseOf takes every noiseStep-th pixel of the planes, and usual where they tell nothing.
func fineNoiseOf(planes [][]float32, w, h int, usual float32) *fineNoise {
	f := &fineNoise{w: (w + noiseStep - 1) / noiseStep, h: (h + noiseStep - 1) / noiseStep}
	for _, p := range planes {
		s := make([]float32, 0, f.w*f.h)
		for y := 0; y < h; y += noiseStep {
			for x := 0; x < w; x += noiseStep {
				v := p[y*w+x]
				if v != v {
					v = usual
				}
				s = append(s, v)
			}
		}
		f.sigma = append(f.sigma, s)
	}
	return f
}

// at returns the noise of a channel at a pixel of the panel.
func (f *fineNoise) at(channel int, u, v float32) float32 {
	x := min(max(int(u+noiseStep/2)/noiseStep, 0), f.w-1)
	y := min(max(int(v+noiseStep/2)/noiseStep, 0), f.h-1)
	return f.sigma[min(channel, len(f.sigma)-1)][y*f.w+x]
}

// kinship holds the inner products of the starlet's kernels: of the planes, the finest first, and of what is left. White
// noise of unit variance, of which plane k is taken c[k] times, has the variance Σ c[j]·c[k]·kinship[j][k].
var kinship = func() (out [sharpBands + 1][sharpBands + 1]float32) {
	const side = 4*sharpReach + 1
	dot := make([]float32, side*side)
	dot[side*side/2] = 1
	planes, rest := wavelet.Starlet(dot, side, side, sharpBands)
	all := append(slices.Clone(planes), rest)
	for j, a := range all {
		for k, b := range all {
			s := 0.0
			for i, v := range a {
				s += float64(float64(v) * float64(b[i]))
			}
			out[j][k] = float32(s)
		}
	}
	return out
}()

// tapPhases is how finely tapSquares tells places between two pixels.
const tapPhases = 64

// tapSquares is the sum of the squares of the taps by which a panel is resampled, by the place between two pixels: of white
// noise this share of the variance is left, from all on a pixel to 0.78 half-way.
var tapSquares = func() (out [tapPhases + 1]float32) {
	for k := range out {
		s := 0.0
		for _, w := range warp.Lanczos3.Weights(float64(k%tapPhases) / tapPhases) {
			s += float64(w * w)
		}
		out[k] = float32(s)
	}
	return out
}()

func tapSquare(x float32) float32 {
	f := float64(x) - math.Floor(float64(x))
	return tapSquares[int(float64(f*tapPhases)+0.5)]
}

// shares is what a panel gives to a pixel: of each of its planes and of what is broader, in the common brightness.
type shares [sharpBands + 1]float32

// variance is that of white noise of unit variance after it was shared.
func (c shares) variance() float32 {
	var s float32
	for j, a := range c {
		for k, b := range c {
			s += float32(float32(a*b) * kinship[j][k])
		}
	}
	return s
}

// drawNoise gives the standard deviation of the noise at each pixel of a rectangle, in units of white after levelling;
// NaN where no panel shows anything. A pixel is the sum over the panels of their planes times the shares that blending
// gives them, c; the panels' noises σ do not depend on each other and are taken as white, so that the variance is
// Σ σ²·s(u)·s(v)·(cᵀ·kinship·c), where s is what the taps leave of white noise between two pixels along one axis (see
// tapSquares).
func drawNoise(out [][]float32, parts []part, b *blend, r image.Rectangle) {
	for c, dst := range out {
		for k, p := range parts {
			gain, rest := b.gainOf(levelOf(p.levels, c), p.sharp)
			p.over(r, func(at, i int) {
				all := b.index(r, at)
				if p.says.wide[i] == 0 || b.over.Pix[c][all] == 0 {
					return
				}
				doubt, leads := b.doubtAt(all), float32(0)
				if b.accord.who[all] == k+1 {
					leads = 1
				}
				var s shares
				for j := range sharpBands {
					mine := p.says.fine[j][i] * gain.count[j] / b.under[j].Pix[c][all]
					s[j] = gain.planes[j] * (mine + float32(doubt*(leads-mine)))
				}
				s[sharpBands] = float32(rest*p.says.wide[i]) / b.over.Pix[c][all]
				u, v := p.lies(i)
				sigma := p.fine.at(c, u, v)
				dst[at] += float32(float32(sigma*sigma) * s.variance() * float32(tapSquare(u)*tapSquare(v)))
			})
		}
		for i, v := range dst {
			dst[i] = float32(math.Sqrt(float64(v)))
			if b.over.Pix[c][b.index(r, i)] == 0 {
				dst[i] = nan32
			}
		}
	}
}
