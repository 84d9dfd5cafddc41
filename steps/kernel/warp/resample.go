package warp

import (
	"math"

	"plenilune/steps/kernel/plane"
)

// Missing is the largest share of a kernel's absolute weight that may fall on
// NaN or outside of the picture; beyond it the result is NaN, below it the
// kernel is normalised over what is there.
const Missing = 0.5

// Resample fills dst with src seen through toSrc, which maps a place in dst to
// one in src. What lies more than half a pixel outside src is NaN.
func Resample(dst, src *plane.Image, toSrc Affine, k Kernel) {
	ResampleRows(dst, src, toSrc, k, 0, dst.H)
}

// ResampleRows is Resample for rows y0 ≤ y < y1 of dst only, so that callers
// can share the work out; the values do not depend on how.
func ResampleRows(dst, src *plane.Image, toSrc Affine, k Kernel, y0, y1 int) {
	if toSrc.IsTranslation() {
		shiftRows(dst, src, toSrc[2], toSrc[5], k, y0, y1)
		return
	}
	s := sampler{src: src, tb: &tables[k]}
	for y := y0; y < y1; y++ {
		bx := float64(toSrc[1]*float64(y)) + toSrc[2]
		by := float64(toSrc[4]*float64(y)) + toSrc[5]
		for x := range dst.W {
			s.put(dst, y*dst.W+x, float64(toSrc[0]*float64(x))+bx, float64(toSrc[3]*float64(x))+by)
		}
	}
}

// Shift fills dst with src moved so that dst(x, y) = src(x+dx, y+dy): Resample
// with Translation(dx, dy), one set of taps for the whole picture.
func Shift(dst, src *plane.Image, dx, dy float64, k Kernel) {
	shiftRows(dst, src, dx, dy, k, 0, dst.H)
}

// Remap fills dst with src seen through a map: dst(i) = src(mapX[i], mapY[i]).
// A NaN in the map gives a NaN.
func Remap(dst, src *plane.Image, mapX, mapY []float32, k Kernel) {
	RemapRows(dst, src, mapX, mapY, k, 0, dst.H)
}

// RemapRows is Remap for rows y0 ≤ y < y1 of dst only.
func RemapRows(dst, src *plane.Image, mapX, mapY []float32, k Kernel, y0, y1 int) {
	if len(mapX) != dst.W*dst.H || len(mapY) != len(mapX) {
		panic("warp: the map does not have the size of dst")
	}
	s := sampler{src: src, tb: &tables[k]}
	for i := y0 * dst.W; i < y1*dst.W; i++ {
		s.put(dst, i, float64(mapX[i]), float64(mapY[i]))
	}
}

// At returns channel c of src at one place, as Resample would.
func At(src *plane.Image, c int, x, y float64, k Kernel) float32 {
	s := sampler{src: src, tb: &tables[k]}
	if !s.locate(x, y) {
		return nan
	}
	return s.value(src.Pix[c])
}

var nan = float32(math.NaN())

// sampler evaluates a separable kernel at one place after another.
type sampler struct {
	src    *plane.Image
	tb     *table
	wx, wy [6]float32
	x0, y0 int  // the first pixel touched
	inside bool // the kernel lies in the picture altogether
}

func (s *sampler) put(dst *plane.Image, i int, x, y float64) {
	if !s.locate(x, y) {
		for _, p := range dst.Pix {
			p[i] = nan
		}
		return
	}
	for c, p := range dst.Pix {
		p[i] = s.value(s.src.Pix[c])
	}
}

// locate prepares the taps; it is false for places outside of the picture.
func (s *sampler) locate(x, y float64) bool {
	w, h := s.src.W, s.src.H
	if !(x >= -0.5 && y >= -0.5 && x <= float64(w)-0.5 && y <= float64(h)-0.5) {
		return false
	}
	fx, fy := math.Floor(x), math.Floor(y)
	s.tb.fill(&s.wx, x-fx)
	s.tb.fill(&s.wy, y-fy)
	n := s.tb.taps
	s.x0, s.y0 = int(fx)-n/2+1, int(fy)-n/2+1
	s.inside = s.x0 >= 0 && s.y0 >= 0 && s.x0+n <= w && s.y0+n <= h
	return true
}

func (s *sampler) value(p []float32) float32 {
	if !s.inside {
		return s.partial(p)
	}
	var v float32
	w, at := s.src.W, s.y0*s.src.W+s.x0
	switch s.tb.taps {
	case 2:
		v = s.sum2(p, at, w)
	case 4:
		v = s.sum4(p, at, w)
	default:
		v = s.sum6(p, at, w)
	}
	if v != v {
		return s.partial(p)
	}
	return v
}

func (s *sampler) sum2(p []float32, at, stride int) float32 {
	a, b := p[at:at+2], p[at+stride:at+stride+2]
	return float32(s.wy[0]*(float32(s.wx[0]*a[0])+float32(s.wx[1]*a[1]))) +
		float32(s.wy[1]*(float32(s.wx[0]*b[0])+float32(s.wx[1]*b[1])))
}

func (s *sampler) sum4(p []float32, at, stride int) float32 {
	w0, w1, w2, w3 := s.wx[0], s.wx[1], s.wx[2], s.wx[3]
	var v float32
	for _, k := range s.wy[:4] {
		a := (*[4]float32)(p[at:])
		r := (float32(w0*a[0]) + float32(w1*a[1])) + (float32(w2*a[2]) + float32(w3*a[3]))
		v += float32(k * r)
		at += stride
	}
	return v
}

func (s *sampler) sum6(p []float32, at, stride int) float32 {
	w0, w1, w2, w3, w4, w5 := s.wx[0], s.wx[1], s.wx[2], s.wx[3], s.wx[4], s.wx[5]
	var v float32
	for _, k := range s.wy {
		a := (*[6]float32)(p[at:])
		r := (float32(w0*a[0]) + float32(w1*a[1])) + (float32(w2*a[2]) + float32(w3*a[3])) +
			(float32(w4*a[4]) + float32(w5*a[5]))
		v += float32(k * r)
		at += stride
	}
	return v
}

// partial is the kernel over what is there.
func (s *sampler) partial(p []float32) float32 {
	var sum, weight, all, gone float64
	w, h, n := s.src.W, s.src.H, s.tb.taps
	for j := range n {
		y := s.y0 + j
		for i := range n {
			x := s.x0 + i
			k := float64(float64(s.wy[j]) * float64(s.wx[i]))
			all += math.Abs(k)
			if x < 0 || y < 0 || x >= w || y >= h || p[y*w+x] != p[y*w+x] {
				gone += math.Abs(k)
				continue
			}
			sum += float64(k * float64(p[y*w+x]))
			weight += k
		}
	}
	if gone > float64(Missing*all) || weight < 0.1 {
		return nan
	}
	return float32(sum / weight)
}
