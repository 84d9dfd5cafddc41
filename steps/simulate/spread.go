package simulate

import (
	"math"

	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/portable"
)

// Sizes of grids: the spread functions', and of the screens that hold four
// pupils well apart.
const (
	spreadSide = 64
	screenSide = 128
)

// instants is how many moments an exposure averages while the air drifts by.
const instants = 3

// optics turns turbulence into spread functions. It is safe for concurrent use
// with a spreader each.
type optics struct {
	pupil    *pupil
	screens  *screens
	ft       *fourier.Plan
	ideal    []float32 // transfer without air, real
	idealSum float64   // its sum
	ground   []float32 // power of the ground at each frequency, falling as f^-2
}

func newOptics(cutoff, obstruction float64) *optics {
	o := &optics{
		pupil: newPupil(spreadSide, cutoff, obstruction), screens: newScreens(screenSide),
		ft: fourier.New(spreadSide, spreadSide),
	}
	o.ground = make([]float32, spreadSide*spreadSide)
	for i := range o.ground {
		f := math.Sqrt(sq(freq(i%spreadSide, spreadSide)) + sq(freq(i/spreadSide, spreadSide)))
		o.ground[i] = float32(1 / sq(max(f, 0.5/spreadSide)))
	}
	s := o.spreader()
	s.addInstant(make([]float64, o.pupil.side*o.pupil.side))
	o.ideal = make([]float32, spreadSide*spreadSide)
	copy(o.ideal, s.psf)
	o.ft.Forward(o.ideal, make([]float32, len(o.ideal)))
	for _, v := range o.ideal {
		o.idealSum += float64(v)
	}
	return o
}

// haloSteps is how finely halo is stated.
const haloSteps = 8192

// halo returns, at frequencies of 1/haloSteps cycles a pixel apart, what a
// perfect telescope's transfer is against that of the ideal spread function cut to
// spreadSide pixels: all but 1, save at the lowest frequencies, where the light
// of the far rings is missing. It fades to 1 where both transfers grow small.
func (o *optics) halo(p *Plan) []float64 {
	s := o.spreader()
	copy(s.re, o.ideal)
	o.ft.Inverse(s.re, s.im)
	var line [spreadSide]float64 // the spread function summed along y
	for i, v := range s.re {
		line[i%spreadSide] += float64(v)
	}
	out := make([]float64, haloSteps/4)
	for k := range out {
		f := float64(k) / haloSteps
		cut := 0.0
		for x, v := range line {
			cut += float64(v * portable.Cos(2*math.Pi*float64(f*float64(spreadSide)*freq(x, spreadSide))))
		}
		full := annulusTransfer(f/p.CutoffCyclesPerPx, p.Obstruction)
		out[k] = blend(full/cut, 1, step(0.1, 0.24, f))
	}
	out[len(out)-1] = 1
	return out
}

// spreader is scratch memory for one worker.
type spreader struct {
	*optics
	a, b   []float32 // two screens
	phase  []float64
	re, im []float32
	psf    []float32 // centre at index 0, wrapped around; sum 1
}

func (o *optics) spreader() *spreader {
	n, k := spreadSide*spreadSide, screenSide*screenSide
	return &spreader{
		optics: o, a: make([]float32, k), b: make([]float32, k),
		phase: make([]float64, o.pupil.side*o.pupil.side),
		re:    make([]float32, n), im: make([]float32, n), psf: make([]float32, n),
	}
}

// windows are where the four pupils, one for each corner of the field, begin in
// the screens, and in which screen.
var windows = [4]struct{ x, y, screen int }{{14, 14, 0}, {78, 14, 1}, {14, 78, 1}, {78, 78, 0}}

// gust is how far in cells the air moves between the instants of an exposure.
type gust struct{ x, y float64 }

// corners draws fresh air of strength overR0 and calls use with the spread
// function of each corner of the field, in reading order, and its Strehl ratio.
// The spread function is centred where a picture blurred by it appears to lie.
func (s *spreader) corners(overR0 float64, wind gust, d *dice, use func(k int, psf []float32, strehl float64)) {
	s.screens.draw(s.a, s.b, d)
	scale := portable.Pow(overR0/(2*s.pupil.radius), 5.0/6)
	for k, w := range windows {
		from := s.a
		if w.screen == 1 {
			from = s.b
		}
		clear(s.psf)
		for t := range instants {
			off := float64(t) - float64(instants-1)/2
			x, y := w.x+int(math.Round(off*wind.x)), w.y+int(math.Round(off*wind.y))
			s.cut(from, x, y, scale)
			s.pupil.flatten(s.phase)
			s.addInstant(s.phase)
		}
		use(k, s.psf, s.centre())
	}
}

// cut takes the phase over the pupil's window from a screen.
func (s *spreader) cut(screen []float32, x0, y0 int, scale float64) {
	n := s.pupil.side
	for y := range n {
		row := screen[(y0+y)*screenSide+x0:]
		for x := range n {
			s.phase[y*n+x] = float64(row[x]) * scale
		}
	}
}

// addInstant adds the spread function of a phase to psf, weighted so that the
// instants of an exposure sum to 1 (an ideal one alone is brought to 1 by centre).
func (s *spreader) addInstant(phase []float64) {
	clear(s.re)
	clear(s.im)
	n := s.pupil.side
	energy := 0.0
	for y := range n {
		for x := range n {
			i := y*n + x
			w := float64(s.pupil.open[i])
			if w == 0 {
				continue
			}
			sin, cos := portable.Sincos(phase[i])
			s.re[y*spreadSide+x] = float32(w * cos)
			s.im[y*spreadSide+x] = float32(w * sin)
			energy += float64(w * w)
		}
	}
	s.ft.Forward(s.re, s.im)
	k := float32(1 / float64(energy*spreadSide*spreadSide))
	for i, v := range s.re {
		s.psf[i] += float32(float32(float32(v*v)+float32(s.im[i]*s.im[i])) * k)
	}
}

// centre moves psf to where a picture of common ground, blurred by it, seems to
// lie: where its correlation with the ideal one peaks, each frequency weighted by the ground's
// power. It brings its sum to 1 and returns the Strehl ratio.
func (s *spreader) centre() float64 {
	copy(s.re, s.psf)
	clear(s.im)
	s.ft.Forward(s.re, s.im)
	tr, ti := append([]float32(nil), s.re...), append([]float32(nil), s.im...)
	for i, m := range s.ideal {
		m *= s.ground[i]
		s.re[i] *= m
		s.im[i] *= m
	}
	s.ft.Inverse(s.re, s.im)
	px, py := peak(s.re, spreadSide)
	sum, whole := 0.0, 1/tr[0]
	for y := range spreadSide {
		for x := range spreadSide {
			i := y*spreadSide + x
			a := 2 * math.Pi * (float64(px*freq(x, spreadSide)) + float64(py*freq(y, spreadSide)))
			sin, cos := portable.Sincos(a)
			c, t := float32(cos)*whole, float32(sin)*whole
			s.re[i] = float32(tr[i]*c) - float32(ti[i]*t)
			s.im[i] = float32(tr[i]*t) + float32(ti[i]*c)
			sum += float64(s.re[i])
		}
	}
	s.ft.Inverse(s.re, s.im)
	copy(s.psf, s.re)
	return sum / s.idealSum
}

// peak returns the place of the greatest value of an n by n picture that wraps
// around, as offsets from index 0, by a parabola through its neighbours.
func peak(v []float32, n int) (x, y float64) {
	best := 0
	for i := range v {
		if v[i] > v[best] {
			best = i
		}
	}
	bx, by := best%n, best/n
	at := func(x, y int) float64 { return float64(v[(y+n)%n*n+(x+n)%n]) }
	wrap := func(i int) float64 {
		if i > n/2 {
			i -= n
		}
		return float64(i)
	}
	c := at(bx, by)
	return wrap(bx) + vertex(at(bx-1, by), c, at(bx+1, by)), wrap(by) + vertex(at(bx, by-1), c, at(bx, by+1))
}

// vertex is where the parabola through three equidistant values has its top.
func vertex(l, c, r float64) float64 {
	d := l + r - float64(2*c)
	if d >= 0 {
		return 0
	}
	return (l - r) / (2 * d)
}
