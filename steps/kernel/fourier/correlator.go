package fourier

import (
	"math"
	"sync"

	"plenilune/steps/kernel/portable"
)

// Options steers a Correlator. The zero value correlates whole frames as they are.
type Options struct {
	// Fade is the share of the reference, 0…1, over which it fades to nothing
	// towards its borders (0.5: a quarter of the width on each side), so that
	// what enters and leaves the frame does not pull. The frames compared with
	// it are not faded: a perfect copy then gives its shift without bias.
	Fade float64
	// Coarse, in pixels, takes out structure larger than a Gaussian of that σ
	// (0: only the mean), Fine structure smaller than one (0: none).
	Coarse, Fine float64
	// Upsample is the precision aimed at, in parts of a pixel; 1 or less gives
	// whole pixels.
	Upsample int
}

// Correlator finds the shifts of many frames against one reference. It is safe
// for concurrent use.
type Correlator struct {
	plan         *Real
	upsample     int
	re, im       []float32 // spectrum of the reference, faded and weighted
	weight       []float32 // of each frequency: the band-pass
	norm         float64   // of the reference, weighted, not faded
	self         float64   // correlation of the reference with itself, at its peak
	selfX, selfY float64   // where that peak lies
	scratch      sync.Pool
}

type correlation struct{ re, im, surface []float32 }

// NewCorrelator prepares a reference of w by h pixels; its NaNs count as its mean.
func NewCorrelator(ref []float32, w, h int, o Options) *Correlator {
	c := &Correlator{plan: NewReal(w, h), upsample: o.Upsample}
	n := c.plan.Half() * h
	c.scratch.New = func() any {
		return &correlation{make([]float32, n), make([]float32, n), make([]float32, w*h)}
	}
	c.weight = band(w, h, o.Coarse, o.Fine)
	c.re, c.im = make([]float32, n), make([]float32, n)
	// The band comes before the fade, so that what is compared stays within the
	// fade, and once more for the frames.
	c.plan.Forward(faded(ref, w, h, 0), c.re, c.im)
	c.filter()
	passed := make([]float32, w*h)
	c.plan.Inverse(passed, c.re, c.im)
	c.plan.Forward(faded(passed, w, h, o.Fade), c.re, c.im)
	c.filter()
	c.norm, c.self = 1, 1
	s := c.scratch.Get().(*correlation)
	defer c.scratch.Put(s)
	norm := c.correlate(ref, s)
	// The fade weighs the reference's own slopes unevenly: its peak with itself
	// may lie a little off zero, for every copy alike.
	x, y, self := refine(s.surface, w, h, 0, 0, c.upsample)
	if math.Abs(x) > 1 || math.Abs(y) > 1 {
		x, y, self = 0, 0, float64(s.surface[0])
	}
	c.selfX, c.selfY = x, y
	c.norm, c.self = norm, self
	return c
}

func (c *Correlator) filter() {
	for i, k := range c.weight {
		c.re[i] *= k
		c.im[i] *= k
	}
}

// Shift returns where the content of mov, a frame of the reference's size, lies
// against the reference: at +dx, +dy pixels, each within half of the frame's
// size. peak is 1 for a perfect copy whatever its gain and offset, and near 0
// where nothing fits.
func (c *Correlator) Shift(mov []float32) (dx, dy, peak float64) {
	s := c.scratch.Get().(*correlation)
	defer c.scratch.Put(s)
	norm := c.correlate(mov, s)
	w, h := c.plan.Size()
	best := 0
	for i, v := range s.surface {
		if v > s.surface[best] {
			best = i
		}
	}
	x, y, value := refine(s.surface, w, h, best%w, best/w, c.upsample)
	if c.upsample > 1 {
		x, y = x-c.selfX, y-c.selfY
	}
	if c.self > 0 && norm > 0 {
		peak = value / c.self * (c.norm / norm)
	}
	return wrap(x, w), wrap(y, h), peak
}

// PhaseShift returns where the content of mov lies against ref, both w by h
// pixels: at +dx, +dy; see Correlator. It correlates without whitening the
// spectra and refines the peak by band-limited interpolation, as Guizar-Sicairos,
// Thurman & Fienup (2008, Opt. Lett. 33:156) do, to 1/upsample of a pixel.
func PhaseShift(ref, mov []float32, w, h, upsample int) (dx, dy, peak float64) {
	return NewCorrelator(ref, w, h, Options{Fade: 0.5, Upsample: upsample}).Shift(mov)
}

// correlate fills s.surface with Σ ref(x)·mov(x+d) at d and returns the norm of mov.
func (c *Correlator) correlate(mov []float32, s *correlation) float64 {
	w, h := c.plan.Size()
	if len(mov) != w*h {
		panic("fourier: a frame of another size than the reference")
	}
	m := average(mov, nil)
	for i, v := range mov {
		if v != v {
			v = m
		}
		s.surface[i] = v - m
	}
	c.plan.Forward(s.surface, s.re, s.im)
	half := c.plan.Half()
	norm := 0.0
	for y := range h {
		at := y * half
		ar, ai, k := c.re[at:at+half], c.im[at:at+half], c.weight[at:at+half]
		br, bi := s.re[at:at+half], s.im[at:at+half]
		row := 0.0
		for u := range br {
			r, i := br[u], bi[u]
			row += float64(float32(k[u]*k[u]) * (float32(r*r) + float32(i*i)))
			br[u] = float32(ar[u]*r) + float32(ai[u]*i)
			bi[u] = float32(ar[u]*i) - float32(ai[u]*r)
		}
		norm += row
	}
	c.plan.Inverse(s.surface, s.re, s.im)
	return math.Sqrt(norm)
}

// band returns the band-pass, the weight of each frequency of a half spectrum,
// zero for the mean.
func band(w, h int, coarse, fine float64) []float32 {
	half := w/2 + 1
	gauss := func(n, count int, sigma float64) []float64 {
		out := make([]float64, count)
		for k := range out {
			f := 2 * math.Pi * float64(min(k, n-k)) / float64(n) * sigma
			out[k] = portable.Exp(-0.5 * float64(f*f))
		}
		return out
	}
	cx, cy := gauss(w, half, coarse), gauss(h, h, coarse)
	fx, fy := gauss(w, half, fine), gauss(h, h, fine)
	out := make([]float32, half*h)
	for v := range h {
		for u := range half {
			k := float64(fx[u] * fy[v])
			if coarse > 0 {
				k *= 1 - float64(cx[u]*cy[v])
			}
			out[v*half+u] = float32(k)
		}
	}
	out[0] = 0
	return out
}

// faded returns ref less its mean times a window, both such that the sum is zero.
func faded(ref []float32, w, h int, fade float64) []float32 {
	wx, wy := window(w, fade), window(h, fade)
	both := make([]float32, w*h)
	for y := range h {
		for x := range w {
			both[y*w+x] = float32(wx[x] * wy[y])
		}
	}
	m := average(ref, both)
	for i, v := range ref {
		if v == v {
			both[i] *= v - m
		} else {
			both[i] = 0
		}
	}
	return both
}

// window returns a raised-cosine fade over the share of n given, flat between
// (Tukey 1967).
func window(n int, fade float64) []float64 {
	out := make([]float64, n)
	edge := float64(min(max(fade, 0), 1)*float64(n)) / 2
	for i := range out {
		out[i] = 1
		if d := float64(min(i, n-1-i)) + 0.5; d < edge {
			s := portable.Sin(math.Pi / 2 * (d / edge))
			out[i] = float64(s * s)
		}
	}
	return out
}

// average returns the mean of v under weights (nil: equal), NaNs left out.
func average(v, weights []float32) float32 {
	sum, weight := 0.0, 0.0
	for i, x := range v {
		if x != x {
			continue
		}
		k := 1.0
		if weights != nil {
			k = float64(weights[i])
		}
		sum += float64(k * float64(x))
		weight += k
	}
	if weight == 0 {
		return 0
	}
	return float32(sum / weight)
}

// wrap brings x into -n/2…n/2.
func wrap(x float64, n int) float64 {
	if x >= float64(n)/2 {
		return x - float64(n)
	}
	if x < -float64(n)/2 {
		return x + float64(n)
	}
	return x
}
