package stacks

import (
	"math"
	"testing"

	"plenilune/pipeline"
)

// The middles of a finer picture's pixels lie evenly between the borders of the canvas, not between the middles of its outermost pixels.
func TestRaster(t *testing.T) {
	r := raster{canvas{X: -3, Y: 2, W: 10, H: 7}, 1.5}
	if r.size() != (canvas{-3, 2, 15, 11}) {
		t.Errorf("size %+v", r.size())
	}
	left, right := r.at(0)+0.5, 9.5-r.at(14)
	if math.Abs(left-1/3.0) > 1e-12 || math.Abs(right-left) > 1e-12 {
		t.Errorf("%v px before the first middle, %v px behind the last; want a third", left, right)
	}
	for i := range 10 {
		if p := (canvas{W: 10, H: 7}).plain().at(i); p != float64(i) {
			t.Errorf("pixel %d of the sensor's own raster lies at %v", i, p)
		}
	}
}

// 150 mm at 550 nm resolve periods of 550e-6/150 rad = 0.7563″: pixels may be 0.378″ wide. With 2.9 µm at 1000 mm
// they are 0.598″, 1.58 times too wide.
func TestSamplingAdvice(t *testing.T) {
	n := pipeline.Night{Telescope: &pipeline.Telescope{ApertureMM: 150, FocalLengthMM: 1000}, Camera: &pipeline.Camera{PixelUM: 2.9}}
	scale, widest := samplingAdvice(n, 0)
	if scale != 1.6 || math.Abs(widest-0.37815) > 1e-4 {
		t.Errorf("scale %v, pixels of %.4f″; want 1.6 and 0.3782″", scale, widest)
	}
	if scale, widest = samplingAdvice(n, 1100); scale != 0.8 || math.Abs(widest-2*0.37815) > 2e-4 {
		t.Errorf("at twice the wavelength scale %v, pixels of %.4f″", scale, widest)
	}
	n.Camera.PixelUM = 9
	if scale, _ = samplingAdvice(n, 0); scale != 2 {
		t.Errorf("scale %v where 2 is the most", scale)
	}
	n.Telescope.ApertureMM = 0
	if scale, widest = samplingAdvice(n, 0); scale != 0 || widest != 0 {
		t.Errorf("without an aperture %v, %v", scale, widest)
	}
}

// The noise of a pixel is the same however finely the picture is drawn.
func TestNoiseAtAnyScale(t *testing.T) {
	f, idx, tab := film(12, 0.02)
	var noise [3]float64
	for i, scale := range []float64{1, 1.5, 2} {
		_, pt := stackFilm(t, 2, f, idx, tab, meanSettings{Keep: "1", Scale: scale}, true)
		noise[i] = pt.NoiseSigma
	}
	for _, n := range noise[1:] {
		if math.Abs(n/noise[0]-1) > 0.1 {
			t.Errorf("noise %v at scales 1, 1.5 and 2: want the same", noise)
		}
	}
}
