package mosaic

import (
	"fmt"
	"image"
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

// sheet is a placed panel ready to be drawn tile by tile.
type sheet struct {
	index          int
	w, h, channels int
	pixels         *pipeline.PlaneReader
	voice          voice
	toPanel        similarity // to the carried panel's pixels
	bend           bend
	globe          globe
	level          level
	sharp          sharpness
	box            image.Rectangle // in the joined picture
	noise          float64         // standard deviation in one channel
}

// says returns the panel's say at each pixel of a rectangle, 0…1, in the first so many planes.
func (s *sheet) says(r image.Rectangle, planes int) says {
	k := says{wide: make([]float32, r.Dx()*r.Dy()), stack: make([]float32, r.Dx()*r.Dy())}
	for j := range planes {
		k.fine[j] = make([]float32, len(k.wide))
	}
	for y := range r.Dy() {
		for x := range r.Dx() {
			far, weight := s.voice.at(s.globe.pixel(s.toPanel.at(float64(r.Min.X+x), float64(r.Min.Y+y))))
			if far == 0 {
				continue
			}
			i := y*r.Dx() + x
			k.wide[i], k.stack[i] = say(far, weight, s.voice.wide), weight
			for j := range planes {
				k.fine[j][i] = say(far, weight, float32(int(fineReach)<<j))
			}
		}
	}
	return k
}

// draw resamples the panel, once, onto a rectangle of the joined picture.
func (s *sheet) draw(r image.Rectangle) (*plane.Image, error) {
	mx, my := s.chart(r)
	const reach = 4
	in := image.Rect(int(math.Floor(float64(slices.Min(mx))))-reach, int(math.Floor(float64(slices.Min(my))))-reach,
		int(math.Ceil(float64(slices.Max(mx))))+reach+1, int(math.Ceil(float64(slices.Max(my))))+reach+1)
	in = in.Intersect(image.Rect(0, 0, s.w, s.h))
	dst := plane.New(r.Dx(), r.Dy(), s.channels)
	if in.Empty() {
		return dst, nil
	}
	src := plane.New(in.Dx(), in.Dy(), s.channels)
	for c := range src.Pix {
		if err := s.pixels.ReadRect(c, in, src.Pix[c]); err != nil {
			return nil, fmt.Errorf("read panel %d: %w", s.index+1, err)
		}
	}
	for i := range mx {
		mx[i] -= float32(in.Min.X)
		my[i] -= float32(in.Min.Y)
	}
	warp.Remap(dst, src, mx, my, warp.Lanczos3)
	mend(dst, src, mx, my)
	return dst, nil
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
