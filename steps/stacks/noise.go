package stacks

import (
	"math"
	"slices"

	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

// noiseStep is how far apart, in pixels, the stack's noise is worked out: frames' weights change slowly, and where
// between two pixels a place falls is by chance.
const noiseStep = 5

// noiseModel is the variance of a sample of a calibrated frame against its level, both in units of white, where the
// flat is 1: what the electronics add, and the photons' own share.
type noiseModel struct {
	Base  float64 `json:"base"`
	Slope float64 `json:"slope"`
}

// sigma returns the standard deviation at a level.
func (m noiseModel) sigma(level float32) float32 {
	return float32(math.Sqrt(max(0, m.Base+float64(m.Slope*max(0, float64(level))))))
}

// noiseGrid adds up what the frames' noise becomes in the stack. A sample s of variance v(s) that enters with weight w
// over a gain g and a flat f, through taps k, adds w²·Σk²·v/(g·f)² to the variance of the sum.
type noiseGrid struct {
	nx, ny int
	flat   *plane.Image
	base   [][]float32 // a channel: Σ w²·Σk²/(g·f)², for noise that does not depend on the light
	light  [][]float32 // a channel: Σ w²·Σk²/(g·f), for the photons', whose variance is in proportion to the light times g·f
}

func newNoiseGrid(cv canvas, channels int, flat *plane.Image) *noiseGrid {
	g := &noiseGrid{nx: (cv.W + noiseStep - 1) / noiseStep, ny: (cv.H + noiseStep - 1) / noiseStep, flat: flat}
	for range channels {
		g.base = append(g.base, make([]float32, g.nx*g.ny))
		g.light = append(g.light, make([]float32, g.nx*g.ny))
	}
	return g
}

// add takes in a frame's row, which is about to be added to the sums.
func (g *noiseGrid) add(l *layer, f *laid, y int) {
	if y%noiseStep != 0 {
		return
	}
	at := y / noiseStep * g.nx
	for i := range g.nx {
		x := i * noiseStep
		wt := l.wt[x]
		if wt == 0 {
			continue
		}
		px, py := l.line.x[x], l.line.y[x]
		for ch := range g.base {
			k := f.gain * g.sensitivity(ch, int(px+0.5), int(py+0.5))
			q := float32(float32(wt*wt)*l.squares(f, ch, x)) / k
			g.light[ch][at+i] += q
			g.base[ch][at+i] += q / k
		}
	}
}

// sensitivity is the flat at a pixel of the frame.
func (g *noiseGrid) sensitivity(ch, x, y int) float32 {
	if g.flat == nil {
		return 1
	}
	p := g.flat.Pix[min(ch, len(g.flat.Pix)-1)]
	return max(calibrate.FlatFloor, p[min(y, g.flat.H-1)*g.flat.W+min(x, g.flat.W-1)])
}

// squares is the sum of the squared taps through which a place of the row is taken.
func (l *layer) squares(f *laid, ch, x int) float32 {
	if l.mosaic != nil {
		return l.mosaic.squares(f, ch, l.line.x[x], l.line.y[x])
	}
	_, fx := split(max(0, l.line.x[x]+f.colour[ch][0]))
	_, fy := split(max(0, l.line.y[x]+f.colour[ch][1]))
	return tapSquares[fx] * tapSquares[fy]
}

// tapSquares holds the sums of the squared taps along one axis.
var tapSquares = func() (out [tapPhases]float32) {
	for k, t := range lanczosTaps {
		for _, v := range t {
			out[k] += float32(v * v)
		}
	}
	return out
}()

// lessAbout is the noise of a mean over a Gaussian of calmSigma against that of one of its samples, of which every second
// counts: about √2/(2·calmSigma·√π).
const lessAbout = 0.5

// plane returns the standard deviation of the noise in each pixel and channel of a stack made of the sums, in units of
// white; NaN where the stack is, and everywhere if the frames' noise is not known.
func (g *noiseGrid) plane(img [][]float32, s *sums, m noiseModel) [][]float32 {
	var out [][]float32
	all, cv := s.both(), s.c
	for ch, pix := range img {
		nodes := g.variances(pix, ch, m, cv)
		if all.lean == nil {
			divide(nodes, g.pick(all.weight[0], cv))
		} else {
			c := s.calm(all, ch)
			about := slices.Clone(nodes)
			divide(nodes, g.pick(all.weight[ch], cv))
			divide(about, g.pick(c.about, cv))
			about = g.beside(about)
			for k, t := range g.pick(c.own, cv) {
				filled := float32(lessAbout * about[k])
				if nodes[k] = filled + float32(t*(nodes[k]-filled)); t == 0 {
					nodes[k] = filled
				}
			}
		}
		out = append(out, g.between(nodes, pix, cv))
	}
	return out
}

// variances are those of a channel's sums at the nodes; NaN where the stack is or the noise is not known.
func (g *noiseGrid) variances(pix []float32, ch int, m noiseModel, cv canvas) []float32 {
	nodes := g.pick(pix, cv)
	for k, v := range nodes {
		q := float64(m.Base*float64(g.base[ch][k])) + float64(m.Slope*float64(max(0, float64(v))*float64(g.light[ch][k])))
		if nodes[k] = float32(q); v != v || m.Base+m.Slope <= 0 {
			nodes[k] = float32(math.NaN())
		}
	}
	return nodes
}

// pick returns what a plane has at the nodes.
func (g *noiseGrid) pick(plane []float32, cv canvas) []float32 {
	out := make([]float32, g.nx*g.ny)
	for k := range out {
		out[k] = plane[k/g.nx*noiseStep*cv.W+k%g.nx*noiseStep]
	}
	return out
}

// divide turns variances of sums into standard deviations over the sums' weights.
func divide(variance, weight []float32) {
	for k, w := range weight {
		variance[k] = float32(math.Sqrt(float64(variance[k]))) / w
	}
}

// beside returns the root of the mean square of each node and those beside and below it: since nodes are an odd number of
// pixels apart these see every site of a mosaic.
func (g *noiseGrid) beside(nodes []float32) []float32 {
	out := make([]float32, len(nodes))
	for j := range g.ny {
		for i := range g.nx {
			a, b := j*g.nx, min(j+1, g.ny-1)*g.nx
			l, r := i, min(i+1, g.nx-1)
			var sum, n float32
			for _, v := range [4]float32{nodes[a+l], nodes[a+r], nodes[b+l], nodes[b+r]} {
				if v == v {
					sum += float32(v * v)
					n++
				}
			}
			out[a+i] = float32(math.Sqrt(float64(sum / n)))
		}
	}
	return out
}

// between draws straight lines between the nodes.
func (g *noiseGrid) between(nodes, pix []float32, cv canvas) []float32 {
	fillUnknown(nodes, g.nx, g.ny)
	out := make([]float32, len(pix))
	for y := range cv.H {
		j, ty := y/noiseStep, float32(y%noiseStep)/noiseStep
		a, b := nodes[j*g.nx:][:g.nx], nodes[min(j+1, g.ny-1)*g.nx:][:g.nx]
		for x := range cv.W {
			i, tx := x/noiseStep, float32(x%noiseStep)/noiseStep
			m, at := min(i+1, g.nx-1), y*cv.W+x
			l := a[i] + float32(ty*(b[i]-a[i]))
			r := a[m] + float32(ty*(b[m]-a[m]))
			out[at] = l + float32(tx*(r-l))
			if pix[at] != pix[at] {
				out[at] = float32(math.NaN())
			}
		}
	}
	return out
}
