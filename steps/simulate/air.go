package simulate

import (
	"math"

	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/portable"
)

const (
	pupilGrid = 64 // cells of the transform that makes spread functions
	views     = 14 // how many states of the air a clip is seen through
	edge      = 24 // sensor pixels of scene kept around what a clip shows
	warpNode  = 16 // sensor pixels between nodes of the warp
)

// view is a clip's window of the scene through one state of the air.
type view struct {
	overR0    float64
	sharpness float64
	img       *plane.Image
}

// window is the part of the scene that a clip shows, at the scene's scale.
type window struct {
	x, y, w, h int
	views      []view // sorted by overR0
}

// through makes the views of a clip: states of the air spread over what its
// frames meet, each the mean of two independent moments, as an exposure is.
func (s *scene) through(p *Plan, clip int, a Aim, overR0 []float64) *window {
	w := s.windowOf(p, a)
	lo, hi := overR0[0], overR0[0]
	for _, v := range overR0 {
		lo, hi = min(lo, v), max(hi, v)
	}
	ft := fourier.New(w.w, w.h)
	spectra := make([][2][]float32, p.channels())
	for c := range spectra {
		re, im := s.cut(c, w), make([]float32, w.w*w.h)
		ft.Forward(re, im)
		spectra[c] = [2][]float32{re, im}
	}
	air := newScreens(pupilGrid)
	ring := newPupil(pupilGrid, p.CutoffCyclesPerPx/2, p.Obstruction)
	for k := range views {
		d := newDice(p.Seed, forScreen, clip, k)
		q := float64(lo * portable.Pow(hi/lo, (float64(k)+0.5)/views))
		re, im := air.transfer(ring, q, d, ft, w)
		v := view{overR0: q, sharpness: sharpness(re, w, p), img: plane.New(w.w, w.h, p.channels())}
		for c, sp := range spectra {
			v.img.Pix[c] = filtered(ft, sp, re, im)
		}
		w.views = append(w.views, v)
	}
	return w
}

// windowOf is the rectangle of the scene that a clip can show, of sides that the
// transform takes.
func (s *scene) windowOf(p *Plan, a Aim) *window {
	reach := float64(edge) + p.DriftPx + float64(4*p.JitterPx) + float64(p.TurnDeg*degree*float64(p.Width)/2)
	w := &window{w: fourier.Good(2 * (p.Width + int(2*reach))), h: fourier.Good(2 * (p.Height + int(2*reach)))}
	w.x, w.y = int(2*a.X)-w.w/2, int(2*a.Y)-w.h/2
	return w
}

// cut copies the window out of the scene; beyond the scene there is dark sky.
func (s *scene) cut(c int, w *window) []float32 {
	out := make([]float32, w.w*w.h)
	for y := range w.h {
		for x := range w.w {
			if u, v := x+w.x, y+w.y; u >= 0 && v >= 0 && u < s.side && v < s.side {
				out[y*w.w+x] = s.sharp.Pix[c][v*s.side+u]
			}
		}
	}
	return out
}

// transfer draws two moments of the air, D/r0 = q, and returns the transfer of
// their mean spread function on the window's frequencies. Each spread function is
// centred on its own centre of light: what moves it is the warp's business.
func (s *screens) transfer(p *pupil, q float64, d *dice, ft *fourier.Plan, w *window) (re, im []float32) {
	a, b := make([]float32, s.n*s.n), make([]float32, s.n*s.n)
	s.draw(a, b, d)
	k := portable.Pow(q/float64(2*p.radius), 5.0/6)
	re, im = make([]float32, w.w*w.h), make([]float32, w.w*w.h)
	for _, sheet := range [][]float32{a, b} {
		spread := p.spread(sheet, s.n, k)
		cx, cy := centre(spread, p.n)
		for y := range p.n {
			for x := range p.n {
				// Whole pixels are enough: a spread function's place is arbitrary.
				u, v := x-int(math.Round(cx)), y-int(math.Round(cy))
				u, v = (u+w.w)%w.w, (v+w.h)%w.h
				re[v*w.w+u] += spread[y*p.n+x] / 2
			}
		}
	}
	ft.Forward(re, im)
	return re, im
}

// spread is the light of a star through the pupil with a phase over it, of sum 1.
func (p *pupil) spread(sheet []float32, n int, k float64) []float32 {
	phase := make([]float64, p.side*p.side)
	for y := range p.side {
		for x := range p.side {
			phase[y*p.side+x] = float64(k * float64(sheet[y*n+x]))
		}
	}
	p.flatten(phase)
	re, im := make([]float32, p.n*p.n), make([]float32, p.n*p.n)
	for y := range p.side {
		for x := range p.side {
			sin, cos := portable.Sincos(phase[y*p.side+x])
			o := float64(p.open[y*p.side+x])
			re[y*p.n+x], im[y*p.n+x] = float32(o*cos), float32(o*sin)
		}
	}
	fourier.New(p.n, p.n).Forward(re, im)
	out := make([]float32, p.n*p.n)
	sum := 0.0
	for i := range out {
		out[i] = float32(re[i]*re[i]) + float32(im[i]*im[i])
		sum += float64(out[i])
	}
	// The transform's origin is moved to the middle.
	moved := make([]float32, len(out))
	h := p.n / 2
	for y := range p.n {
		for x := range p.n {
			moved[(y+h)%p.n*p.n+(x+h)%p.n] = out[y*p.n+x] / float32(sum)
		}
	}
	return moved
}

// centre is the centre of the light, weighted so that the core counts most.
func centre(v []float32, n int) (x, y float64) {
	sum := 0.0
	for i, l := range v {
		w := float64(l) * float64(l)
		sum += w
		x += float64(w * float64(i%n))
		y += float64(w * float64(i/n))
	}
	return x / sum, y / sum
}

// sharpness is the mean of the transfer's real part over the frequencies that
// carry detail, against a perfect telescope's.
func sharpness(re []float32, w *window, p *Plan) float64 {
	got, perfect := 0.0, 0.0
	for y := range w.h {
		for x := range w.w {
			f := 2 * math.Sqrt(sq(freq(x, w.w))+sq(freq(y, w.h)))
			if f > 0.1 && f < 0.4 {
				got += float64(re[y*w.w+x])
				perfect += annulusTransfer(f/p.CutoffCyclesPerPx, p.Obstruction)
			}
		}
	}
	return got / perfect
}

// filtered multiplies a spectrum by a transfer and returns the picture.
func filtered(ft *fourier.Plan, spectrum [2][]float32, re, im []float32) []float32 {
	or, oi := make([]float32, len(re)), make([]float32, len(re))
	for i := range re {
		a, b := spectrum[0][i], spectrum[1][i]
		or[i] = float32(a*re[i]) - float32(b*im[i])
		oi[i] = float32(a*im[i]) + float32(b*re[i])
	}
	ft.Inverse(or, oi)
	return or
}
