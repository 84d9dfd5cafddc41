package stacks

import (
	"math/rand/v2"
	"testing"

	"plenilune/steps/format/raw"
)

// The columns that need no look do not change which run is inside, wherever the field leads.
func TestInsideIsTheFirstRun(t *testing.T) {
	const w, h = 120, 90
	c := &clip{w: w, h: h, idx: clipIndex{Layout: raw.Layout{Width: w, Height: h, Planes: 1}}}
	r := rand.New(rand.NewPCG(4, 2))
	runs := map[[2]int]bool{}
	for trial := range 60 {
		cv := canvas{X: r.IntN(9) - 4, Y: r.IntN(9) - 4, W: w, H: h}
		scale := []float64{1, 1.5}[trial%2]
		g := gridFor(cv)
		l, f := newLine(c, raster{cv, scale}, g), newField(g)
		bend := float32(r.IntN(3)*8 + 1)
		for i := range f.X {
			f.X[i], f.Y[i] = bend*(r.Float32()-0.5), bend*(r.Float32()-0.5)
		}
		shift := [2]float64{20*r.Float64() - 10, 20*r.Float64() - 10}
		for y := range l.r.size().H {
			l.at(shift, f, y)
			for _, off := range []float32{0, 0.7, edgeFade, edgeFade + 5} {
				x0, x1 := l.inside(off)
				l.sure0, l.sure1 = 0, 0
				a, b := l.inside(off)
				if x0 != a || x1 != b {
					t.Fatalf("trial %d, row %d, %g px off: columns %d to %d, looked at one by one %d to %d", trial, y, off, x0, x1, a, b)
				}
				runs[[2]int{x0, x1}] = true
				l.at(shift, f, y)
			}
		}
	}
	if len(runs) < 100 {
		t.Errorf("only %d different runs were tried", len(runs))
	}
}
