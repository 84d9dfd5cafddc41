package mosaic

import (
	"math"
	"strings"
	"testing"

	"plenilune/steps/kernel/plane"
)

// The night has one white: panels of one ground that were exposed differently are brought to one brightness by a factor that all
// channels share, so that the colour of the ground is what the camera saw.
func TestPanelsShareTheirWhite(t *testing.T) {
	const w, h = 160, 140
	r := inner(w, h)
	tint := [3]float64{0.8, 1, 0.7}
	ground := smooth(scene(5, w, h), w, h, 3)
	shot := func(exposure float64) *plane.Image {
		img := plane.New(w, h, 3)
		for c := range tint {
			for i, v := range ground {
				img.Pix[c][i] = float32(exposure * tint[c] * (0.5 + 0.1*float64(v)))
			}
		}
		return img
	}
	b := newBlend(r, 3)
	b.add(r, shot(1), evenSays(r, 1), []level{{1, 0}}, sharpness{}, 0)
	b.add(r, shot(0.25), evenSays(r, 0.4), []level{{4, 0}}, sharpness{}, 0)
	out := b.finish()
	for i := range out[0] {
		for c := range out {
			if got := float64(out[c][i]) / float64(out[1][i]); math.Abs(got-tint[c]) > 1e-4 {
				t.Fatalf("pixel %d, channel %d: %.5f of green, want %g", i, c, got, tint[c])
			}
		}
	}
}

func TestPanelsOfOneFineness(t *testing.T) {
	if f, err := fineness([]panelTable{{Fineness: 1.5}, {Fineness: 1.5}}); f != 1.5 || err != nil {
		t.Errorf("%v, %v", f, err)
	}
	if f, err := fineness([]panelTable{{}, {Fineness: 1}}); f != 1 || err != nil {
		t.Errorf("%v, %v", f, err)
	}
	if _, err := fineness([]panelTable{{Fineness: 1}, {Fineness: 2}}); err == nil || !strings.Contains(err.Error(), "same scale") {
		t.Errorf("error %v", err)
	}
}

func TestWavelengthOfPanels(t *testing.T) {
	if got := common([]lightTable{{656}, {656}}); got != (lightTable{656}) {
		t.Errorf("%v", got)
	}
	if got := common([]lightTable{{656}, {}}); got != (lightTable{}) {
		t.Errorf("of light that is not the same: %v", got)
	}
}
