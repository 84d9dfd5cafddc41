package stacks

import (
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/wavelet"
)

// views are a frame's luma seen for alignment: broad detail, at half the scale, for the first step, which may be off
// by some pixels, fine detail for the last.
type views struct{ broad, fine []float32 }

// viewer makes views of pictures of one size. It is for one goroutine.
type viewer struct {
	w, h            int // of the pictures
	hw, hh          int // at half the scale
	half, a, b, tmp []float32
	row             []float32 // at half the scale
	out             views
}

func newViewer(w, h int) *viewer {
	v := &viewer{w: w, h: h, hw: w / 2, hh: h / 2}
	n := v.hw * v.hh
	v.half, v.a, v.b, v.tmp = make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	v.row = make([]float32, v.hw)
	v.out = views{make([]float32, n), make([]float32, w*h)}
	return v
}

// see returns views of a luma; they last until the next call. With starlet smoothings c_j of the luma c_0 at half the
// scale, broad is c_0 − c_3 and fine the luma itself less c_2.
func (v *viewer) see(luma []float32) views {
	if v.hw == 0 || v.hh == 0 { // one row or column has no detail to hold on to
		return v.out
	}
	filter.Shrink(v.half, luma, v.w, v.h, 2)
	wavelet.Smooth(v.a, v.half, v.tmp, v.hw, v.hh, 1)
	wavelet.Smooth(v.b, v.a, v.tmp, v.hw, v.hh, 2)
	wavelet.Smooth(v.a, v.b, v.tmp, v.hw, v.hh, 4)
	for i, p := range v.half {
		v.out.broad[i] = p - v.a[i]
	}
	v.lessDoubled(v.out.fine, luma, v.b)
	return v.out
}

// lessDoubled writes a picture less one at half its scale, on straight lines between whose pixels it lies.
func (v *viewer) lessDoubled(dst, src, half []float32) {
	for y := range v.h {
		// row y lies a quarter from one row of the half, three quarters from another
		j := min(y/2, v.hh-1)
		k := max(0, min(v.hh-1, j-1+y%2*2))
		a, b := half[j*v.hw:][:v.hw], half[k*v.hw:][:v.hw]
		row := v.row
		for x := range row {
			row[x] = float32(0.75*a[x]) + float32(0.25*b[x])
		}
		d, s := dst[y*v.w:][:v.w], src[y*v.w:][:v.w]
		last := v.hw - 1
		d[0] = s[0] - row[0]
		lanes.LessDoubled(d[1:], s[1:], row)
		for x := 2*last + 1; x < v.w; x++ {
			d[x] = s[x] - row[last]
		}
	}
}

// greens writes what frames behind a colour filter are aligned by: green, which a camera has most of and against which
// the air displaces red and blue. The other sites get the mean of the greens about them.
func greens(dst []float32, src *plane.Image, sites *[2][2]int) {
	w, h, pix := src.W, src.H, src.Pix[0]
	for y := range h {
		up, dn := max(y-1, 1-y)*w, min(y+1, 2*h-3-y)*w
		for x := range w {
			if sites[y&1][x&1] == 1 {
				dst[y*w+x] = pix[y*w+x]
				continue
			}
			l, r := max(x-1, 1-x), min(x+1, 2*w-3-x)
			dst[y*w+x] = 0.25 * ((pix[up+x] + pix[dn+x]) + (pix[y*w+l] + pix[y*w+r]))
		}
	}
}
