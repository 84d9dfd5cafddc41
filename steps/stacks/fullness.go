package stacks

import (
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

const (
	// fullReach is how far, in pixels, a sample reaches through the taps.
	fullReach = tapsWide / 2
	// fullWeight is what a place near a saturated sample counts, against others: nothing where another frame shows it, and
	// all there is where none does, so that ground that is too bright in every frame is no hole.
	fullWeight = 1e-4
	// fullMosaic is the same for colour filters, where one frame alone holds too few samples of a colour to stand for a place:
	// with less, what is left of many frames shoots over (measured on twenty frames, a tenth of them saturated).
	fullMosaic = 0.05
)

// fullness marks places of a frame at which a saturated sample has a part: there is more light than it tells.
type fullness struct {
	any  bool
	w, h int
	full []bool // samples
	near []bool // places
}

func newFullness(w, h int) *fullness {
	return &fullness{w: w, h: h, full: make([]bool, w*h), near: make([]bool, w*h)}
}

// mark looks at a frame that is not calibrated yet.
func (f *fullness) mark(raw *plane.Image) {
	f.any = calibrate.Saturated(f.full, raw, calibrate.SaturationLevel) > 0
	if !f.any {
		return
	}
	clear(f.near)
	for y := range f.h {
		for x, full := range f.full[y*f.w:][:f.w] {
			if !full {
				continue
			}
			for j := max(0, y-fullReach); j <= min(f.h-1, y+fullReach); j++ {
				for i := max(0, x-fullReach); i <= min(f.w-1, x+fullReach); i++ {
					f.near[j*f.w+i] = true
				}
			}
		}
	}
}

// at tells whether a saturated sample has a part at a place within the frame.
func (f *fullness) at(x, y float32) bool {
	return f.near[min(f.h-1, int(y+0.5))*f.w+min(f.w-1, int(x+0.5))]
}
