package stacks

import (
	"math"
	"testing"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

func TestMosaicKeepsColoursApart(t *testing.T) {
	const w, h = 40, 32
	l := raw.Layout{Width: w, Height: h, Planes: 1, Pattern: raw.GBRG}
	sites := siteChannels(raw.GBRG)
	if *sites != [2][2]int{{1, 2}, {0, 1}} {
		t.Fatalf("sites of GBRG are %v", *sites)
	}
	colour := func(ch int, x, y float64) float64 { return [3]float64{0.6, 0.3, 0.1}[ch] + 0.002*x - 0.001*y }
	s := newSums(canvas{W: w, H: h}, l)
	cells := []float32{1}
	tab := &clipFrames{}
	tab.Cells.NX, tab.Cells.NY = 1, 1
	n := 0
	for dy := range 4 { // shifts that bring every colour near every place
		for dx := range 4 {
			f := &laid{img: plane.New(w, h, 1), dx: 0.55 * float64(dx), dy: 0.55 * float64(dy), cells: cells, gain: 1, colour: make([][2]float32, 3), reach: edgeTaps}
			for y := range h {
				for x := range w {
					f.img.Pix[0][y*w+x] = float32(colour(sites[y&1][x&1], float64(x)-f.dx, float64(y)-f.dy))
				}
			}
			k := newLayer(s, &clip{tab: *tab, w: w, h: h, idx: clipIndex{Layout: l}}, gridFor(s.c), nil)
			for y := range h {
				k.addRow(f, y)
			}
			n++
		}
	}
	img, _, _ := s.finish(n)
	for ch := range 3 {
		for y := 4; y < h-6; y++ {
			for x := 4; x < w-6; x++ {
				// A slope of 0.002 a pixel: samples off centre by 0.5 px would give 0.001.
				if got, want := float64(img[ch][y*w+x]), colour(ch, float64(x), float64(y)); math.Abs(got-want) > 0.001 {
					t.Fatalf("channel %d at (%d, %d): %.4f, want %.4f", ch, x, y, got, want)
				}
			}
		}
	}
}
