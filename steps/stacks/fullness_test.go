package stacks

import (
	"testing"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

func TestFullnessByHand(t *testing.T) {
	img := plane.New(20, 10, 3)
	f := newFullness(20, 10)
	if f.mark(img); f.any {
		t.Error("a black frame is saturated")
	}
	img.Pix[2][5*20+12] = 0.995
	if f.mark(img); !f.any {
		t.Fatal("a saturated blue is not seen")
	}
	for _, c := range []struct {
		x, y float32
		want bool
	}{{12, 5, true}, {9, 2, true}, {14.6, 8.4, true}, {15.6, 5, false}, {12, 1, false}, {8.4, 5, false}, {19, 9, false}} {
		if got := f.at(c.x, c.y); got != c.want {
			t.Errorf("%v at %v, %v", got, c.x, c.y)
		}
	}
}

// Where some frames are saturated, the others alone say how bright it is; where all are, they still say something.
func TestSaturatedSamplesCarryNoWeight(t *testing.T) {
	full := func(f pipelinetest.File, frame, x0, y0, x1, y1 int) {
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				at := 2 * ((frame*sceneH+y)*sceneW + x)
				f[at], f[at+1] = 0xff, 0xff
			}
		}
	}
	clean, _ := stackOf(t, 2, 20, 0, 1, true)
	spoilt, pt := stackOfFilm(t, 2, 20, 0, 1, true, func(f pipelinetest.File) {
		for k := range 20 {
			full(f, k, 90, 60, 110, 80)
			if k%2 == 0 {
				full(f, k, 40, 30, 60, 50)
			}
		}
	})
	a, b := clean.Plane("image").Pix[0], spoilt.Plane("image").Pix[0]
	at := func(x, y int) int { return (y-pt.ReferenceY)*pt.Width + x - pt.ReferenceX }
	// Half of the frames lie elsewhere by up to 1.2 px, which moves the ground by some hundredths; saturated ones that
	// counted would lift it by a quarter.
	if got, want := b[at(50, 40)], a[at(50, 40)]; got > want+0.05 || got < want-0.05 {
		t.Errorf("%v where half of the frames are saturated, %v where none is", got, want)
	}
	if got := b[at(100, 70)]; !(got > 0.98) {
		t.Errorf("%v where all frames are saturated, want white", got)
	}
	share := spoilt.Plane("full").Pix[0]
	for _, c := range []struct {
		x, y int
		want float32
	}{{50, 40, 0.5}, {100, 70, 1}, {75, 55, 0}} {
		if got := share[at(c.x, c.y)]; got < c.want-0.02 || got > c.want+0.02 {
			t.Errorf("%v of the frames are told to be saturated at %d, %d, want %v", got, c.x, c.y, c.want)
		}
	}
}

// Beside a patch that is too bright in most frames few are left, whose samples of a colour lie to one side: nothing may
// shoot over there.
func TestMosaicBesideSaturatedGround(t *testing.T) {
	for _, pattern := range []string{raw.RGGB, raw.GBRG} {
		for _, scale := range []float64{1, 1.37, 2} {
			f, idx, tab := colourFilm(pattern)
			for k := range idx.Frames {
				for y := 30; y < 50; y++ {
					for x := 40; x < 60; x++ {
						at := 2 * ((k*sceneH+y)*sceneW + x)
						f[at], f[at+1] = 0xff, 0xff
					}
				}
			}
			tab["noise"] = noiseModel{Base: 1e-5}
			r, _ := stackFilm(t, 2, f, idx, tab, meanSettings{Keep: "1", Scale: scale}, true)
			img, noise := r.Plane("image"), r.Plane("noise")
			for ch, p := range img.Pix {
				for i, v := range p {
					if v < -0.15 || v > 1.15 { // the kernel itself shoots a tenth over steps
						t.Fatalf("%s at %g, channel %d: %v at %d, %d", pattern, scale, ch, v, i%img.W, i/img.W)
					}
					if s := noise.Pix[ch][i]; s > 0.02 {
						t.Fatalf("%s at %g, channel %d: a noise of %v at %d, %d, of a sample it is 0.003", pattern, scale, ch, s, i%img.W, i/img.W)
					}
				}
			}
		}
	}
}
