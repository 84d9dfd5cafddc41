package calibrate

import (
	"math"
	"testing"

	"plenilune/steps/kernel/plane"
)

// Four sites of known sensitivity on a pedestal, under light that varies: gains are their mean over each, and a flat pedestal
// over which they lie is no part of it.
func TestSitesOfOneLight(t *testing.T) {
	sens := [4]float64{1.1, 0.9, 0.95, 0.6}
	mean := (1.1 + 0.9 + 0.95 + 0.6) / 4
	const w, h = 61, 48
	img := plane.New(w, h, 1)
	light := func(x, y int) float64 { return 0.3 + 0.2*math.Sin(float64(x/2)/5)*math.Cos(float64(y/2)/7) }
	for y := range h {
		for x := range w {
			img.Pix[0][y*w+x] = float32(sens[2*(y&1)+(x&1)]*light(x, y) + 0.05)
		}
	}
	img.Pix[0][5] = 1 // a saturated sample spoils its block alone
	var s Sites
	s.Add(img, SaturationLevel)
	g := s.Gains()
	for k := range g {
		if math.Abs(g[k]*sens[k]/mean-1) > 1e-4 {
			t.Errorf("site %d: gain %v, want %v", k, g[k], mean/sens[k])
		}
	}
	for i := range img.Pix[0] {
		img.Pix[0][i] -= 0.05
	}
	EvenSites(img, g)
	for y := range h {
		for x := range w {
			if got, want := float64(img.Pix[0][y*w+x]), mean*light(x, y); y*w+x != 5 && math.Abs(got/want-1) > 2e-4 {
				t.Fatalf("(%d, %d): %v, want %v", x, y, got, want)
			}
		}
	}
}

// Frames that tell nothing leave the samples alone.
func TestSitesWithoutLight(t *testing.T) {
	ones := [4]float64{1, 1, 1, 1}
	var none, plain, blind Sites
	img := plane.New(8, 8, 1)
	plain.Add(img, 1)
	for i := range img.Pix[0] {
		if i/8%2 == 0 || i%2 == 0 {
			img.Pix[0][i] = float32(i)
		}
	}
	blind.Add(img, 100) // its last site sees nothing
	for k, s := range []*Sites{&none, &plain, &blind} {
		if s.Gains() != ones {
			t.Errorf("case %d: gains %v", k, s.Gains())
		}
	}
}
