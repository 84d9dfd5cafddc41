package detail

import (
	"image"
	"math"
	"testing"
)

// Within 8 px of the limb light is the telescope's own and stays; a print leaves most of
// it out, and what it shows falls all the way into the sky.
func TestTheTelescopesOwnWingsStay(t *testing.T) {
	const size, r = 601, 200.0
	at := func(d float64) float64 { // of the bright side, from the limb on outwards: edge and wings
		return 0.97*0.5*math.Erfc(d/0.9/math.Sqrt2) + 0.06/(2+max(d, 0))
	}
	m := disk(size, r, 0.5)
	c := float64(size-1) / 2
	for i := range m.Pix[0] {
		dx, dy := float64(i%size)-c, float64(i/size)-c
		m.Pix[0][i] = float32(0.004 + 0.7*math.Max(0, 0.45+dx/(2*r))*at(math.Hypot(dx, dy)-r))
	}
	gain, out := make([]float32, size*size), make([]float32, size*size)
	findWings(m.Pix[0], size, size).dim(gain, m.Pix[0], out, image.Rect(0, 0, size, size))
	row := int(c) * size
	left := 0
	last := math.Inf(1)
	for d := 3; d < 60; d++ {
		i := row + int(c) + int(r) + d
		if d <= 8 && gain[i] != 0 {
			t.Errorf("%d px from the limb %v of %v is taken away", d, gain[i], m.Pix[0][i])
		}
		if out[i] > 0.3 {
			left++
		}
		shown := (float64(m.Pix[0][i]+gain[i]) - 0.004) * float64(1-out[i])
		if shown > last+1e-4 {
			t.Errorf("it brightens again %d px from the limb: %v after %v", d, shown, last)
		}
		last = shown
	}
	if left < 4 {
		t.Errorf("a print leaves light out over %d px only", left)
	}
	for _, i := range []int{row + int(c), row + int(c) + 150, row + 20} { // the middle, ground at the limb, beyond the night side
		if gain[i] != 0 || out[i] != 0 {
			t.Errorf("pixel %d loses %v, and a share of %v in print", i, gain[i], out[i])
		}
	}
}
