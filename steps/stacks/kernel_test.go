package stacks

import (
	"math"
	"testing"

	"plenilune/steps/kernel/lanes"
)

func TestLanczosTaps(t *testing.T) {
	// sinc(x)·sinc(x/3) evaluated independently in scipy, normalised by its own sum:
	// at ½ .024317 −.135095 .607927 (sum .994299), at ¼ .030021 −.132871 .890067 .270190
	// −.067791 .007356 (sum .996972).
	for _, c := range []struct {
		phase int
		sum   float64
		w     [6]float64
	}{
		{128, .994299, [6]float64{.024317, -.135095, .607927, .607927, -.135095, .024317}},
		{64, .996972, [6]float64{.030021, -.132871, .890067, .270190, -.067791, .007356}},
		{0, 1, [6]float64{0, 0, 1, 0, 0, 0}},
	} {
		for j, w := range c.w {
			if got := float64(lanczosTaps[c.phase][j]); math.Abs(got-w/c.sum) > 2e-6 {
				t.Errorf("phase %d, tap %d: %.6f, want %.6f", c.phase, j, got, w/c.sum)
			}
		}
	}
	for _, taps := range lanczosTaps {
		var s float64
		for _, v := range taps {
			s += float64(v)
		}
		if math.Abs(s-1) > 1e-6 {
			t.Fatalf("taps %v sum to %g", taps, s)
		}
	}
}

func TestSampleEdgeAgreesInside(t *testing.T) {
	const w, h = 16, 12
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = float32(i*i%17) / 17
	}
	for _, p := range [][4]int{{5, 4, 30, 200}, {2, 2, 0, 128}, {8, 6, 255, 1}} {
		got := make([]float32, 1)
		lanes.Gather(got, pix, w, lanes.Places{At: []int32{int32((p[1]-2)*w + p[0] - 2)}, X: []int32{int32(p[2])}, Y: []int32{int32(p[3])}}, lanczosTaps)
		a, b := got[0], sampleEdge(pix, w, p[0], p[1], p[2], p[3])
		if math.Abs(float64(a-b)) > 1e-6 {
			t.Errorf("%v: %g and %g", p, a, b)
		}
	}
	flat := make([]float32, w*h)
	for i := range flat {
		flat[i] = 0.25
	}
	if got := sampleEdge(flat, w, w-1, 0, 100, 77); math.Abs(float64(got)-0.25) > 1e-7 {
		t.Errorf("a plain picture is %g at its corner, want 0.25", got)
	}
}

func TestSplineFieldOfAStraightLine(t *testing.T) {
	cv := canvas{W: 70, H: 50}
	g := gridFor(cv)
	v, c := make([]float32, g.len()), make([]float32, g.len())
	for j := range g.NY {
		for i := range g.NX {
			v[j*g.NX+i] = 0.5 + 0.01*float32((i-1)*nodeStep) - 0.02*float32((j-1)*nodeStep)
		}
	}
	toSpline(c, v, g)
	r, row := newRowReader(g, cv.plain()), make([]float32, cv.W)
	// A cubic B-spline reproduces straight lines; the inverse filter's mirrored border
	// bends them in the outermost two nodes only, one of which lies outside.
	for y := nodeStep; y < cv.H-nodeStep; y++ {
		r.row(row, c, y)
		for x := nodeStep; x < cv.W-nodeStep; x++ {
			if want := 0.5 + 0.01*float64(x) - 0.02*float64(y); math.Abs(float64(row[x])-want) > 1e-4 {
				t.Fatalf("(%d, %d): %g, want %g", x, y, row[x], want)
			}
		}
	}
}
