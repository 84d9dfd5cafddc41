// Package lanes holds the few loops in which most of the time of a night is spent, eight numbers at a time. Each is
// written in plain Go, which says what is computed and in which order, and where the processor has AVX2 in assembly
// too, which gives the same bits: every product and every sum is rounded by itself, lane by lane, and lanes are
// added up in one order. Which of the two runs is found out once, at start.
package lanes

import "math"

// Width is how many numbers are treated side by side.
const Width = 8

// Spline writes dst[i] = (a[i]+e[i])/16 + (b[i]+d[i])/4 + 3·c[i]/8, the cubic B-spline's taps on five rows, which
// have at least the length of dst.
func Spline(dst, a, b, c, d, e []float32) {
	n := len(dst)
	a, b, c, d, e = a[:n], b[:n], c[:n], d[:n], e[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		splineAVX2(&dst[0], &a[0], &b[0], &c[0], &d[0], &e[0], at)
	}
	spline(dst[at:], a[at:], b[at:], c[at:], d[at:], e[at:])
}

func spline(dst, a, b, c, d, e []float32) {
	n := len(dst)
	a, b, c, d, e = a[:n], b[:n], c[:n], d[:n], e[:n]
	for x := range dst {
		dst[x] = float32(0.0625*(a[x]+e[x])) + float32(0.25*(b[x]+d[x])) + float32(0.375*c[x])
	}
}

// Sums are four sums over a cell of 8 by 8 pixels: over its rows in each lane.
type Sums [4][Width]float32

// Of returns sum k over all lanes.
func (s *Sums) Of(k int) float64 { return across(&s[k]) }

// across adds lanes up.
func across(v *[Width]float32) float64 {
	return ((float64(v[0]) + float64(v[4])) + (float64(v[2]) + float64(v[6]))) +
		((float64(v[1]) + float64(v[5])) + (float64(v[3]) + float64(v[7])))
}

// AddPairs adds s·(a[i]+b[i]) + t·(c[i]+d[i]) to out[i], two taps either side of a symmetric kernel. The rows have at
// least the length of out.
func AddPairs(out, a, b, c, d []float32, s, t float32) {
	n := len(out)
	a, b, c, d = a[:n], b[:n], c[:n], d[:n]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		addPairsAVX2(&out[0], &a[0], &b[0], &c[0], &d[0], s, t, at)
	}
	addPairs(out[at:], a[at:], b[at:], c[at:], d[at:], s, t)
}

func addPairs(out, a, b, c, d []float32, s, t float32) {
	n := len(out)
	a, b, c, d = a[:n], b[:n], c[:n], d[:n]
	for x := range out {
		out[x] += float32(s*(a[x]+b[x])) + float32(t*(c[x]+d[x]))
	}
}

// The sums of Cell, by index.
const (
	SlopeX = iota // f·gx
	SlopeY        // f·gy
	Square        // f·f
	Likely        // f·p
)

// Cell resamples 8 by 8 pixels f of a picture by one displacement, with the taps kx along rows and ky down columns
// on four pixels each, and sums up their products with gx, gy, themselves and p. pix begins at the first tap of the
// first pixel and has rows of stride; 11 rows of 11 pixels are read. The others begin at the cell and have rows of
// width.
func Cell(out *Sums, pix []float32, stride int, kx, ky *[4]float32, gx, gy, p []float32, width int) {
	_ = pix[10*stride+10]
	last := 7*width + 7
	_, _, _ = gx[last], gy[last], p[last]
	if fast {
		cellAVX2((*[4][Width]float32)(out), &pix[0], stride, kx, ky, &gx[0], &gy[0], &p[0], width)
		return
	}
	cell(out, pix, stride, kx, ky, gx, gy, p, width, nil)
}

// cell is Cell, or, with a mask, CellWithin.
func cell(out *Sums, pix []float32, stride int, kx, ky *[4]float32, gx, gy, p []float32, width int, mask *Mask) {
	var rows [4][Width]float32
	*out = Sums{}
	for y := range Width + 3 {
		q, r := pix[y*stride:][:Width+3], &rows[y&3]
		for x := range r {
			r[x] = (float32(kx[0]*q[x]) + float32(kx[1]*q[x+1])) + (float32(kx[2]*q[x+2]) + float32(kx[3]*q[x+3]))
		}
		if y < 3 {
			continue
		}
		at := (y - 3) * width
		a, b, c := &rows[(y-3)&3], &rows[(y-2)&3], &rows[(y-1)&3]
		for x := range Width {
			f := (float32(ky[0]*a[x]) + float32(ky[1]*b[x])) + (float32(ky[2]*c[x]) + float32(ky[3]*r[x]))
			if mask != nil {
				f *= mask[(y-3)*Width+x]
			}
			out[SlopeX][x] += float32(f * gx[at+x])
			out[SlopeY][x] += float32(f * gy[at+x])
			out[Square][x] += float32(f * f)
			out[Likely][x] += float32(f * p[at+x])
		}
	}
}

// Taps are weights for places between two pixels, eight a place, of which the last may be zero.
type Taps [][Width]float32

// Gather writes dst[i], the picture at places[i]: six rows weighted by the first six of the taps down and added up
// in order, then eight columns by the taps along, added as ((0+4)+(2+6)) + ((1+5)+(3+7)). Six rows of eight pixels
// are read from each place.
func Gather(dst []float32, pix []float32, stride int, places Places, taps Taps) {
	if len(dst) == 0 {
		return
	}
	places = places.To(len(dst))
	places.check(len(pix)-(5*stride+8), len(taps))
	if fast {
		gatherAVX2(&dst[0], &pix[0], stride, &places.At[0], &places.X[0], &places.Y[0], &taps[0], len(dst))
		return
	}
	gather(dst, pix, stride, places, taps)
}

// down writes rows of pix weighted by taps and added up in order.
func down(v, pix []float32, stride int, taps []float32) {
	for j, k := range taps {
		row := pix[j*stride:][:len(v)]
		for m := range v {
			if j == 0 {
				v[m] = k * row[m]
			} else {
				v[m] += float32(k * row[m])
			}
		}
	}
}

func gather(dst []float32, pix []float32, stride int, places Places, taps Taps) {
	for i, at := range places.At {
		kx, ky := &taps[places.X[i]], &taps[places.Y[i]]
		var v [Width]float32
		down(v[:], pix[at:], stride, ky[:6])
		for m := range v {
			v[m] *= kx[m]
		}
		dst[i] = ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]))
	}
}

// Slopes writes the squared gradient dst[i] from five rows about it, smoothed along beforehand by [1 2 1]/4, at
// i+1 of them: ([1 2 1]ᵀ·[−1 0 1])²/64 + (row4−row0 + 2(row3−row1))²/64.
func Slopes(dst, r0, r1, r2, r3, r4 []float32) {
	n := len(dst)
	r0, r1, r2, r3, r4 = r0[:n+2], r1[:n+2], r2[:n+2], r3[:n+2], r4[:n+2]
	at := 0
	if fast && n >= Width {
		at = n &^ (Width - 1)
		slopesAVX2(&dst[0], &r0[0], &r1[0], &r2[0], &r3[0], &r4[0], at)
	}
	slopes(dst[at:], r0[at:], r1[at:], r2[at:], r3[at:], r4[at:])
}

func slopes(dst, r0, r1, r2, r3, r4 []float32) {
	n := len(dst)
	r0, r1, r2, r3, r4 = r0[:n+2], r1[:n+2], r2[:n+2], r3[:n+2], r4[:n+2]
	for i := range dst {
		d := r3[i+1] - r1[i+1]
		gy := ((r4[i+1] - r0[i+1]) + (d + d)) * 0.125
		l := (r1[i] + r3[i]) + (r2[i] + r2[i])
		r := (r1[i+2] + r3[i+2]) + (r2[i+2] + r2[i+2])
		gx := (r - l) * 0.125
		dst[i] = float32(gx*gx) + float32(gy*gy)
	}
}

// Apart returns the sum of |a[i] − b[i]|, eight lanes added up as Sums.Of does; what is left beyond a multiple of
// eight is added last.
func Apart(a, b []float32) float64 {
	b = b[:len(a)]
	var s Sums
	at := len(a) &^ (Width - 1)
	if fast && at > 0 {
		apartAVX2(&s[0], &a[0], &b[0], at)
	} else {
		apart(&s[0], a[:at], b)
	}
	sum := s.Of(0)
	for i := at; i < len(a); i++ {
		sum += math.Abs(float64(a[i] - b[i]))
	}
	return sum
}

func apart(out *[Width]float32, a, b []float32) {
	*out = [Width]float32{}
	for i := 0; i+Width <= len(a); i += Width {
		p, q := a[i:i+Width], b[i:i+Width]
		for k := range out {
			d := p[k] - q[k]
			if d < 0 {
				d = -d
			}
			out[k] += d
		}
	}
}
