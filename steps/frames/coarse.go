package frames

import (
	"math"
	"slices"

	"plenilune/steps/kernel/fourier"
)

// overlapFloor keeps small overlaps, whose correlation is high by chance, from
// winning: it is added to both energies as a share of the whole picture's.
const overlapFloor = 0.1

// placesMost is how many places a frame may lie at until its neighbours in time
// have been asked.
const placesMost = 6

// finder finds by how much a picture is displaced against a reference, anywhere
// within half a field, by the correlation coefficient over what both show. The
// numerator comes from one Fourier transform, the energies from running sums.
type finder struct {
	w, h   int // of the pictures
	pw, ph int // padded, so that half a field does not wrap around
	plan   *fourier.Real
	re, im []float32 // transform of the reference
	energy []float64 // summed squares of the reference, (w+1)·(h+1)
	padded []float32
	spec   [2][]float32 // transform of the picture at hand
	sums   []float64
	coeff  []float32 // coefficients for every displacement
}

func newFinder(w, h int, ref []float32) *finder {
	f := &finder{w: w, h: h, pw: fourier.Good(w + w/2 + 1), ph: fourier.Good(h + h/2 + 1)}
	f.plan = fourier.NewReal(f.pw, f.ph)
	n := f.plan.Half() * f.ph
	f.re, f.im = make([]float32, n), make([]float32, n)
	f.plan.Forward(f.pad(make([]float32, f.pw*f.ph), ref), f.re, f.im)
	f.energy = summedSquares(nil, ref, w, h)
	return f
}

// worker returns a finder for one goroutine that shares the reference.
func (f *finder) worker() *finder {
	g := *f
	g.padded = make([]float32, f.pw*f.ph)
	g.spec = [2][]float32{make([]float32, len(f.re)), make([]float32, len(f.re))}
	g.sums = make([]float64, (f.w+1)*(f.h+1))
	g.coeff = make([]float32, (f.w/2*2+1)*(f.h/2*2+1))
	return &g
}

func (f *finder) pad(dst, src []float32) []float32 {
	clear(dst)
	for y := range f.h {
		copy(dst[y*f.pw:], src[y*f.w:(y+1)*f.w])
	}
	return dst
}

// place is where a frame may lie: its displacement in pixels of the coarse
// scale, and the correlation coefficient there, −1…1.
type place struct{ x, y, fit float64 }

// find returns the places at which mov fits the reference best, best first.
func (f *finder) find(mov []float32) []place {
	re, im := f.spec[0], f.spec[1]
	f.plan.Forward(f.pad(f.padded, mov), re, im)
	for i, a := range re {
		b, c, d := im[i], f.re[i], f.im[i]
		re[i] = float32(a*c) + float32(b*d)
		im[i] = float32(b*c) - float32(a*d)
	}
	f.plan.Inverse(f.padded, re, im)
	f.sums = summedSquares(f.sums, mov, f.w, f.h)
	return f.peaks(f.padded)
}

// peaks picks the highest coefficients that are higher than all around them.
func (f *finder) peaks(corr []float32) []place {
	hx, hy := f.w/2, f.h/2
	nx, ny := 2*hx+1, 2*hy+1
	for y := range ny {
		for x := range nx {
			f.coeff[y*nx+x] = float32(f.coefficient(corr, x-hx, y-hy))
		}
	}
	var out []place
	for y := 1; y < ny-1; y++ {
		for x := 1; x < nx-1; x++ {
			at := f.coeff[(y-1)*nx+x-1:]
			v := at[nx+1]
			if len(out) == placesMost && float64(v) <= out[placesMost-1].fit {
				continue
			}
			if v < at[0] || v < at[1] || v < at[2] || v < at[nx] || v <= at[nx+2] || v <= at[2*nx] || v <= at[2*nx+1] || v <= at[2*nx+2] {
				continue
			}
			out = insert(out, place{float64(x-hx) + vertex(at[nx], v, at[nx+2]), float64(y-hy) + vertex(at[1], v, at[2*nx+1]), float64(v)})
		}
	}
	return out
}

// insert puts a place where its fit belongs and drops what is too many.
func insert(s []place, p place) []place {
	i := len(s)
	for i > 0 && s[i-1].fit < p.fit {
		i--
	}
	s = slices.Insert(s, i, p)
	return s[:min(len(s), placesMost)]
}

// vertex returns where between −½ and ½ the parabola through three values peaks.
func vertex(l, m, r float32) float64 {
	if d := float64((l - m) + (r - m)); d < 0 {
		return max(-0.5, min(0.5, 0.5*float64(l-r)/d))
	}
	return 0
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
