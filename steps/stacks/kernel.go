package stacks

import (
	"plenilune/steps/kernel/portable"
)

const (
	tapPhases = 256 // places between two pixels for which taps are kept: ≤ 0.002 px off
	tapsWide  = 6
)

// lanczosTaps holds the six weights of sinc(x)·sinc(x/3), normalised to sum 1, for
// places k/tapPhases behind a pixel, on the pixels −2…3 about it.
var lanczosTaps = makeTaps()

func makeTaps() (t [tapPhases + 1][tapsWide]float32) {
	const pi = 3.14159265358979323846
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return portable.Sin(pi*x) / (pi * x)
	}
	for k := range t {
		var w [tapsWide]float64
		var sum float64
		for j := range w {
			x := float64(j-2) - float64(float64(k)/tapPhases)
			if x > -3 && x < 3 {
				w[j] = sinc(x) * sinc(x/3)
			}
			sum += w[j]
		}
		for j := range w {
			t[k][j] = float32(w[j] / sum)
		}
	}
	return t
}

// sample interpolates a row-major picture of width w at column ix + fx/tapPhases
// and row iy + fy/tapPhases; the six pixels a side must lie inside.
func sample(pix []float32, w, ix, iy, fx, fy int) float32 {
	kx, ky := &lanczosTaps[fx], &lanczosTaps[fy]
	var sum float32
	at := (iy-2)*w + ix - 2
	for j := range tapsWide {
		p := pix[at : at+6 : at+6]
		row := ((float32(kx[0]*p[0]) + float32(kx[1]*p[1])) + (float32(kx[2]*p[2]) + float32(kx[3]*p[3]))) +
			(float32(kx[4]*p[4]) + float32(kx[5]*p[5]))
		sum += float32(ky[j] * row)
		at += w
	}
	return sum
}

func gauss(d float64) float64 { return portable.Exp(-0.5 * d * d) }

// sampleEdge is sample for places near a border: pixels beyond it are those at it.
func sampleEdge(pix []float32, w, ix, iy, fx, fy int) float32 {
	kx, ky := &lanczosTaps[fx], &lanczosTaps[fy]
	h := len(pix) / w
	var sum float32
	for j := range tapsWide {
		y := max(0, min(h-1, iy-2+j))
		var row float32
		for m := range tapsWide {
			row += float32(kx[m] * pix[y*w+max(0, min(w-1, ix-2+m))])
		}
		sum += float32(ky[j] * row)
	}
	return sum
}

// cubicTaps holds the weights of Keys' kernel (1981, a = −½) on the pixels −1…2.
var cubicTaps = makeCubicTaps()

func makeCubicTaps() (t [tapPhases + 1][4]float32) {
	for k := range t {
		x := float64(float64(k) / tapPhases)
		x2 := float64(x * x)
		x3 := float64(x2 * x)
		t[k] = [4]float32{
			float32(0.5 * ((x2 - x3) + (x2 - x))),
			float32(1 + float64(0.5*(float64(3*x3)-float64(5*x2)))),
			float32(0.5 * ((x + float64(4*x2)) - float64(3*x3))),
			float32(0.5 * (x3 - x2)),
		}
	}
	return t
}

// sampleCubic interpolates a row-major picture of width w; the four pixels a side
// must lie inside.
func sampleCubic(pix []float32, w int, px, py float32) float32 {
	ix, fx := split(px)
	iy, fy := split(py)
	kx, ky := &cubicTaps[fx], &cubicTaps[fy]
	var sum float32
	at := (iy-1)*w + ix - 1
	for j := range 4 {
		p := pix[at : at+4 : at+4]
		row := (float32(kx[0]*p[0]) + float32(kx[1]*p[1])) + (float32(kx[2]*p[2]) + float32(kx[3]*p[3]))
		sum += float32(ky[j] * row)
		at += w
	}
	return sum
}
