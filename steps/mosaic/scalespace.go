package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// The scale space and the choice of points follow Lowe 2004, "Distinctive image
// features from scale-invariant keypoints", sections 3–4; the numbers that differ
// are for evened pictures of a single scene at nearly one scale.
const (
	levelsPerOctave = 3
	octaves         = 3
	firstSigma      = 1.6
	inputSigma      = 0.8   // blur that a panel has already
	contrastFloor   = 0.025 // of the evened picture, whose deviation is about one
	edgeRatio       = 10.0
)

// octave holds one octave of the scale space: levelsPerOctave+3 pictures, each
// blurred 2^(1/levelsPerOctave) more than the one before.
type octave struct {
	w, h  int
	step  float64 // panel pixels a pixel
	image [][]float32
	mask  []float32
}

func sigmaOf(level float64) float64 {
	return firstSigma * portable.Exp(level*math.Ln2/levelsPerOctave)
}

// scaleSpace builds the octaves of an evened picture and its mask.
func scaleSpace(v, mask []float32, w, h int) []octave {
	base := smooth(v, w, h, math.Sqrt(firstSigma*firstSigma-inputSigma*inputSigma))
	var out []octave
	step := 1.0
	for range octaves {
		if w < 24 || h < 24 {
			break
		}
		o := octave{w: w, h: h, step: step, mask: mask, image: [][]float32{base}}
		for l := 1; l < levelsPerOctave+3; l++ {
			a, b := sigmaOf(float64(l-1)), sigmaOf(float64(l))
			o.image = append(o.image, smooth(o.image[l-1], w, h, math.Sqrt(float64(b*b)-float64(a*a))))
		}
		out = append(out, o)
		base, w, h = everySecond(o.image[levelsPerOctave], w, h)
		mask, _, _ = everySecond(mask, o.w, o.h)
		step *= 2
	}
	return out
}

func everySecond(v []float32, w, h int) ([]float32, int, int) {
	dw, dh := (w+1)/2, (h+1)/2
	out := make([]float32, dw*dh)
	for y := range dh {
		for x := range dw {
			out[y*dw+x] = v[2*y*w+2*x]
		}
	}
	return out, dw, dh
}

// spot is an extremum of the difference of Gaussians, in pixels of its octave.
type spot struct {
	x, y     float64
	level    float64 // 0 is firstSigma
	near     int     // the picture to describe it from
	strength float64
}

// spots finds the extrema of one octave in row order. Those closer to a hole or
// the border than the blur reaches are left out.
func (o octave) spots() []spot {
	dog := make([][]float32, len(o.image)-1)
	for l := range dog {
		d := make([]float32, o.w*o.h)
		for i := range d {
			d[i] = o.image[l+1][i] - o.image[l][i]
		}
		dog[l] = d
	}
	far := distance(o.mask, o.w, o.h)
	var out []spot
	for l := 1; l+1 < len(dog); l++ {
		guard := float32(1.5 * sigmaOf(float64(l)))
		for y := 2; y+2 < o.h; y++ {
			for x := 2; x+2 < o.w; x++ {
				i := y*o.w + x
				v := dog[l][i]
				if v < contrastFloor*0.8 && v > -contrastFloor*0.8 || far[i] < guard || !isExtremum(dog, l, i, o.w) {
					continue
				}
				if s, ok := settle(dog, l, x, y, o.w, o.h); ok {
					out = append(out, s)
				}
			}
		}
	}
	return out
}

func isExtremum(dog [][]float32, l, i, w int) bool {
	v := dog[l][i]
	sign := float32(1)
	if v < 0 {
		sign = -1
	}
	for m := l - 1; m <= l+1; m++ {
		d := dog[m]
		for _, row := range [3]int{i - w, i, i + w} {
			for k := row - 1; k <= row+1; k++ {
				if (m != l || k != i) && sign*d[k] >= sign*v {
					return false
				}
			}
		}
	}
	return true
}

// settle moves an extremum to sub-pixel place and level by the quadratic through
// its neighbours (Brown & Lowe 2002) and refuses weak ones and edges.
func settle(dog [][]float32, l, x, y, w, h int) (spot, bool) {
	for range 4 {
		i := y*w + x
		a, b, c := dog[l-1], dog[l], dog[l+1]
		f := func(d []float32, k int) float64 { return float64(d[k]) }
		gx, gy, gs := (f(b, i+1)-f(b, i-1))/2, (f(b, i+w)-f(b, i-w))/2, (f(c, i)-f(a, i))/2
		m := f(b, i)
		xx, yy, ss := f(b, i+1)+f(b, i-1)-float64(2*m), f(b, i+w)+f(b, i-w)-float64(2*m), f(c, i)+f(a, i)-float64(2*m)
		xy := (f(b, i+w+1) - f(b, i+w-1) - f(b, i-w+1) + f(b, i-w-1)) / 4
		xs := (f(c, i+1) - f(c, i-1) - f(a, i+1) + f(a, i-1)) / 4
		ys := (f(c, i+w) - f(c, i-w) - f(a, i+w) + f(a, i-w)) / 4
		dx, dy, ds, ok := solve3(xx, xy, xs, yy, ys, ss, -gx, -gy, -gs)
		if !ok {
			return spot{}, false
		}
		if math.Abs(dx) <= 0.6 && math.Abs(dy) <= 0.6 && math.Abs(ds) <= 0.6 {
			v := m + float64((float64(gx*dx)+float64(gy*dy)+float64(gs*ds))/2)
			tr, det := xx+yy, float64(xx*yy)-float64(xy*xy)
			if math.Abs(v) < contrastFloor || det <= 0 || tr*tr*edgeRatio >= (edgeRatio+1)*(edgeRatio+1)*det {
				return spot{}, false
			}
			level := float64(l) + ds
			return spot{float64(x) + dx, float64(y) + dy, level, min(max(int(math.Round(level)), 0), len(dog)), math.Abs(v)}, true
		}
		x, y, l = x+int(math.Round(dx)), y+int(math.Round(dy)), l+int(math.Round(ds))
		if l < 1 || l+1 >= len(dog) || x < 2 || y < 2 || x+2 >= w || y+2 >= h {
			return spot{}, false
		}
	}
	return spot{}, false
}

// solve3 solves a symmetric 3×3 system by Cramer's rule.
func solve3(a, b, c, d, e, f, u, v, w float64) (x, y, z float64, ok bool) {
	m00, m01, m02 := float64(d*f)-float64(e*e), float64(c*e)-float64(b*f), float64(b*e)-float64(c*d)
	det := float64(a*m00) + float64(b*m01) + float64(c*m02)
	if det == 0 || det != det {
		return 0, 0, 0, false
	}
	m11, m12, m22 := float64(a*f)-float64(c*c), float64(b*c)-float64(a*e), float64(a*d)-float64(b*b)
	x = (float64(m00*u) + float64(m01*v) + float64(m02*w)) / det
	y = (float64(m01*u) + float64(m11*v) + float64(m12*w)) / det
	z = (float64(m02*u) + float64(m12*v) + float64(m22*w)) / det
	return x, y, z, true
}
