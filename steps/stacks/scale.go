package stacks

import (
	"cmp"
	"fmt"
	"math"

	"plenilune/pipeline"
)

// raster is the pixels of a picture of a canvas, scale of them to each pixel of the sensor along a side: the middle of
// pixel i lies (i+½)/scale − ½ sensor pixels from the middle of the canvas's first.
type raster struct {
	canvas
	scale float64
}

// plain is the raster of the sensor's own pixels.
func (c canvas) plain() raster { return raster{c, 1} }

// size is the canvas with its sides in pixels of the picture.
func (r raster) size() canvas {
	n := func(side int) int { return max(1, int(math.Round(float64(side)*r.scale))) }
	return canvas{r.X, r.Y, n(r.W), n(r.H)}
}

// at returns where on the canvas the middle of row or column i lies, in pixels of the sensor.
func (r raster) at(i int) float64 { return (float64(i)+0.5)/r.scale - 0.5 }

// knot is a place along one axis between the nodes of a spline: the first of the four that count, and their weights.
type knot struct {
	node    int
	weights [4]float32
}

func knotAt(place float64) knot {
	place = max(0, place)
	k := int(place) / nodeStep
	return knot{k, splineWeights(float32((place - float64(k*nodeStep)) / nodeStep))}
}

const (
	greenNM       = 550  // wavelength, the middle of what cameras see
	samplingSlack = 1.05 // pixels so much too coarse cost nothing that is seen
	scaleMost     = 2
)

// samplingAdvice returns how many pixels of a picture, along a side, should show one of the sensor so that they hold what the
// telescope resolves, in tenths, and how wide, in arcseconds, a pixel may be: half of λ/D, the finest period that passes an aperture D
// (Abbe 1873; Shannon 1949 for the half). Zero if the night does not tell.
func samplingAdvice(n pipeline.Night, wavelengthNM float64) (scale, widest float64) {
	px := n.ScaleArcsecPerPx()
	if px == 0 || n.Telescope.ApertureMM == 0 {
		return 0, 0
	}
	widest = 206264.806 * cmp.Or(wavelengthNM, greenNM) * 1e-6 / (2 * n.Telescope.ApertureMM)
	return min(scaleMost, math.Ceil(10*px/widest-1e-9)/10), widest
}

// warnSampling says so where a finer scale would hold more, and returns whether it did.
func warnSampling(x *pipeline.Expansion, scale, wavelengthNM float64) bool {
	night := x.Night()
	advised, widest := samplingAdvice(night, wavelengthNM)
	px := night.ScaleArcsecPerPx() / scale
	if advised <= scale || px <= widest*samplingSlack {
		return false
	}
	x.Warn("sampling-coarse", fmt.Sprintf("stack %q: a pixel is %.2f″ wide and the telescope resolves periods of %.2f″ at %g nm, which takes pixels of %.2f″: "+
		"scale = %.1f lets the frames' small shifts bring it out", x.Name(), px, 2*widest, cmp.Or(wavelengthNM, greenNM), widest, advised))
	return true
}
