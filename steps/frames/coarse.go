package frames

import (
	"math"

	"plenilune/steps/kernel/fourier"
)

// overlapFloor keeps small overlaps, whose correlation is high by chance, from
// winning: it is added to both energies as a share of the whole picture's.
const overlapFloor = 0.1

// finder finds by how much a picture is displaced against a reference, anywhere
// within half a field, by the correlation coefficient over what both show. The
// numerator comes from one Fourier transform, the energies from running sums.
type finder struct {
	w, h   int // of the pictures
	pw, ph int // padded, so that half a field does not wrap around
	plan   *fourier.Plan
	re, im []float32 // transform of the reference
	energy []float64 // summed squares of the reference, (w+1)·(h+1)
	bufs   [2][]float32
	sums   []float64
}

func newFinder(w, h int, ref []float32) *finder {
	f := &finder{w: w, h: h, pw: fourier.Good(w + w/2 + 1), ph: fourier.Good(h + h/2 + 1)}
	f.plan = fourier.New(f.pw, f.ph)
	f.re, f.im = f.pad(nil, ref), make([]float32, f.pw*f.ph)
	f.plan.Forward(f.re, f.im)
	f.energy = summedSquares(nil, ref, w, h)
	return f
}

// worker returns a finder for one goroutine that shares the reference.
func (f *finder) worker() *finder {
	g := *f
	g.bufs = [2][]float32{make([]float32, f.pw*f.ph), make([]float32, f.pw*f.ph)}
	g.sums = make([]float64, (f.w+1)*(f.h+1))
	return &g
}

func (f *finder) pad(dst, src []float32) []float32 {
	if dst == nil {
		dst = make([]float32, f.pw*f.ph)
	}
	clear(dst)
	for y := range f.h {
		copy(dst[y*f.pw:], src[y*f.w:(y+1)*f.w])
	}
	return dst
}

// find returns where the content of mov lies against the reference, in pixels,
// and the correlation coefficient there, 0…1.
func (f *finder) find(mov []float32) (dx, dy, fit float64) {
	re, im := f.pad(f.bufs[0], mov), f.bufs[1]
	clear(im)
	f.plan.Forward(re, im)
	for i, a := range re {
		b, c, d := im[i], f.re[i], f.im[i]
		re[i] = float32(a*c) + float32(b*d)
		im[i] = float32(b*c) - float32(a*d)
	}
	f.plan.Inverse(re, im)
	f.sums = summedSquares(f.sums, mov, f.w, f.h)
	best, bx, by := math.Inf(-1), 0, 0
	for y := -f.h / 2; y <= f.h/2; y++ {
		for x := -f.w / 2; x <= f.w/2; x++ {
			if v := f.coefficient(re, x, y); v > best {
				best, bx, by = v, x, y
			}
		}
	}
	vertex := func(l, r float64) float64 {
		if d := (l - best) + (r - best); d < 0 {
			return max(-0.5, min(0.5, 0.5*(l-r)/d))
		}
		return 0
	}
	dx = float64(bx) + vertex(f.coefficient(re, bx-1, by), f.coefficient(re, bx+1, by))
	dy = float64(by) + vertex(f.coefficient(re, bx, by-1), f.coefficient(re, bx, by+1))
	return dx, dy, best
}

// coefficient returns the correlation coefficient for the whole displacement x, y.
func (f *finder) coefficient(corr []float32, x, y int) float64 {
	c := float64(corr[(y+f.ph)%f.ph*f.pw+(x+f.pw)%f.pw])
	a := rectSum(f.energy, f.w, max(0, -x), max(0, -y), min(f.w, f.w-x), min(f.h, f.h-y))
	b := rectSum(f.sums, f.w, max(0, x), max(0, y), min(f.w, f.w+x), min(f.h, f.h+y))
	ta, tb := f.energy[len(f.energy)-1], f.sums[len(f.sums)-1]
	den := (a + float64(overlapFloor*ta)) * (b + float64(overlapFloor*tb))
	if den <= 0 {
		return 0
	}
	return c * (1 + overlapFloor) / math.Sqrt(den)
}

// summedSquares returns S with S[y·(w+1)+x] the sum of squares above and left of (x, y).
func summedSquares(dst []float64, src []float32, w, h int) []float64 {
	if dst == nil {
		dst = make([]float64, (w+1)*(h+1))
	}
	for y := range h {
		var row float64
		up, out := dst[y*(w+1):][:w+1], dst[(y+1)*(w+1):][:w+1]
		out[0] = 0
		for x, v := range src[y*w : (y+1)*w] {
			row += float64(float64(v) * float64(v))
			out[x+1] = up[x+1] + row
		}
	}
	return dst
}

func rectSum(s []float64, w, x0, y0, x1, y1 int) float64 {
	if x1 <= x0 || y1 <= y0 {
		return 0
	}
	k := w + 1
	return s[y1*k+x1] - s[y0*k+x1] - s[y1*k+x0] + s[y0*k+x0]
}
