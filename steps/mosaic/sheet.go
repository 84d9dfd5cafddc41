package mosaic

import (
	"errors"
	"fmt"
	"image"
	"math"
	"sync"
	"sync/atomic"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// sheet is a placed panel ready to be drawn tile by tile. Its pixels are read when the first tile asks for them and let go
// after the last, so that of a large disk only the panels about the rows being drawn are held.
type sheet struct {
	index          int
	w, h, channels int
	from           sources
	toPanel        similarity // to the carried panel's pixels
	bend           bend
	globe          globe
	falloff        *falloff
	glows          []glow  // of the channels
	levels         []level // of the channels, or one of all
	sharp          sharpness
	box            image.Rectangle // in the joined picture
	noise          float64         // standard deviation in one channel
	loud           float64         // the same in the common brightness
	steady         float32         // 1; less if its noise stands out (see steadiness)

	once   sync.Once
	failed error
	left   atomic.Int32 // tiles that still need it
	*held
}

// sources are the planes of one stack.
type sources struct{ pixels, weight, full, noise pipeline.Source }

// held is what is in memory while a sheet is drawn.
type held struct {
	pixels *plane.Image
	voice  voice
	fine   *fineNoise
}

// open reads the panel unless it is there already.
func (s *sheet) open() error {
	s.once.Do(func() {
		if s.held, s.failed = s.read(); s.failed != nil {
			s.failed = fmt.Errorf("read panel %d: %w", s.index+1, s.failed)
		}
	})
	return s.failed
}

// done tells that one of the tiles needs the panel no more.
func (s *sheet) done() {
	if s.left.Add(-1) == 0 {
		s.held = nil
	}
}

func (s *sheet) read() (*held, error) {
	r, err := s.from.pixels.Plane()
	if err != nil {
		return nil, err
	}
	pix, err := r.ReadAll()
	if err != nil {
		return nil, err
	}
	w, h, noise, err := s.from.noise.Pixels()
	if err != nil {
		return nil, fmt.Errorf("its noise: %w", err)
	}
	if err := s.sized(w, h); err != nil {
		return nil, err
	}
	v, err := s.readVoice(pix[0])
	if err != nil {
		return nil, err
	}
	for c, p := range pix {
		s.falloff.evenOut(p, s.w, s.h)
		s.glows[c].takeOut(p, s.w, s.h)
	}
	for _, p := range noise {
		s.falloff.noise(p, s.w, s.h)
	}
	return &held{plane.Of(s.w, s.h, pix...), v, fineNoiseOf(noise, s.w, s.h, float32(s.noise))}, nil
}

// readVoice reads what the panel's say depends on, beside one of its channels.
func (s *sheet) readVoice(pix []float32) (voice, error) {
	weight, e1 := readPanel(s.from.weight)
	full, e2 := readPanel(s.from.full)
	if err := errors.Join(e1, e2); err != nil {
		return voice{}, fmt.Errorf("its planes: %w", err)
	}
	if err := errors.Join(s.sized(weight.w, weight.h), s.sized(full.w, full.h)); err != nil {
		return voice{}, err
	}
	return voiceOf(pix, weight.v, full.v, s.w, s.h), nil
}

// voiceAlone reads the panel's voice, and keeps nothing of the panel.
func (s *sheet) voiceAlone() (voice, error) {
	_, _, pix, err := s.from.pixels.Pixels()
	if err != nil {
		return voice{}, err
	}
	return s.readVoice(pix[0])
}

func (s *sheet) sized(w, h int) error {
	if w != s.w || h != s.h {
		return fmt.Errorf("its planes are of %d×%d and %d×%d px", s.w, s.h, w, h)
	}
	return nil
}

// says returns the panel's say at each pixel of a rectangle, 0…1.
func (s *sheet) says(r image.Rectangle) says {
	n := r.Dx() * r.Dy()
	k := says{wide: make([]float32, n), stack: make([]float32, n)}
	for j := range k.fine {
		k.fine[j] = make([]float32, n)
	}
	for y := range r.Dy() {
		for x := range r.Dx() {
			u, v := s.globe.pixel(s.toPanel.at(float64(r.Min.X+x), float64(r.Min.Y+y)))
			far, weight := s.voice.at(u, v)
			if far == 0 {
				continue
			}
			i := y*r.Dx() + x
			k.wide[i], k.stack[i] = say(far, weight, s.voice.wide), weight*s.falloff.calm(u, v, s.w, s.h)
			for j := range k.fine {
				k.fine[j][i] = s.steady * say(far, weight, float32(int(fineReach)<<j))
			}
		}
	}
	return k
}

// draw resamples the panel, once, onto a rectangle of the joined picture. With it comes where each pixel of it lies in the
// panel.
func (s *sheet) draw(r image.Rectangle) (dst *plane.Image, mx, my []float32) {
	dst = plane.New(r.Dx(), r.Dy(), s.channels)
	mx, my = s.chart(r)
	warp.Remap(dst, s.pixels, mx, my, warp.Lanczos3)
	mend(dst, s.pixels, mx, my)
	return dst, mx, my
}

// chart returns where each pixel of a rectangle lies in the panel. The bend is looked up on a coarse grid and
// interpolated: it is smooth over many pixels.
func (s *sheet) chart(r image.Rectangle) (mx, my []float32) {
	const cell = 8
	nx, ny := (r.Dx()+cell-1)/cell+1, (r.Dy()+cell-1)/cell+1
	dx, dy := make([]float64, nx*ny), make([]float64, nx*ny)
	for j := range ny {
		for i := range nx {
			x, y := float64(r.Min.X+i*cell), float64(r.Min.Y+j*cell)
			dx[j*nx+i], dy[j*nx+i] = s.bend.at(s.toPanel.at(x, y))
		}
	}
	mx, my = make([]float32, r.Dx()*r.Dy()), make([]float32, r.Dx()*r.Dy())
	for y := range r.Dy() {
		j, v := y/cell, float64(y%cell)/cell
		for x := range r.Dx() {
			i, u := x/cell, float64(x%cell)/cell
			k := j*nx + i
			mix := func(d []float64) float64 {
				top := d[k] + float64(u*(d[k+1]-d[k]))
				low := d[k+nx] + float64(u*(d[k+nx+1]-d[k+nx]))
				return top + float64(v*(low-top))
			}
			px, py := s.globe.pixel(s.toPanel.at(float64(r.Min.X+x)-mix(dx), float64(r.Min.Y+y)-mix(dy)))
			mx[y*r.Dx()+x], my[y*r.Dx()+x] = float32(px), float32(py)
		}
	}
	return mx, my
}

// mend fills pixels next to a border, where too much of the kernel hangs over, by linear interpolation.
func mend(dst, src *plane.Image, mx, my []float32) {
	for c, p := range dst.Pix {
		for i, v := range p {
			if v != v {
				p[i] = warp.At(src, c, float64(mx[i]), float64(my[i]), warp.Linear)
			}
		}
	}
}

// boundsOf is the rectangle that a panel can touch in the joined picture.
func boundsOf(p placed) image.Rectangle {
	x0, y0, x1, y1 := p.Globe.bounds(p.toMosaic(), p.W, p.H)
	return image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(math.Ceil(x1))+1, int(math.Ceil(y1))+1)
}
