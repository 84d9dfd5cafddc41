package stacks

import (
	"math"

	"plenilune/steps/format/raw"
)

// needs reckons the memory of a clip's parts, in bytes, by what they hold at once.
type needs struct {
	layout raw.Layout
	cv     canvas
	scale  float64
}

const (
	planeBytes = 4        // a pixel of a plane
	restBytes  = 64 << 20 // what does not grow with the picture
	workers    = 4        // that are reckoned with: each reads and sees frames of its own
	// seenPlanes is how many planes an aligner's eye and the views of its target hold.
	seenPlanes = 10
)

func (n needs) framePixels() int64 { return int64(n.layout.Width) * int64(n.layout.Height) }

func (n needs) canvasPixels() int64 { return int64(n.cv.W) * int64(n.cv.H) }

// framePlanes are those of one frame in the making: its samples, their sites apart, and which are too bright.
func (n needs) framePlanes() int64 {
	if mosaicked(n.layout) {
		return 3
	}
	return int64(n.layout.Planes) + 1
}

// stackPlanes are those of the sums, of what is made of them, and of their noise.
func (n needs) stackPlanes() int64 {
	switch {
	case mosaicked(n.layout):
		return 64
	case n.layout.Planes == 3:
		return 32
	}
	return 20
}

// mean is what adding frames needs, with so many of them whose fields are known.
func (n needs) mean(fields int) int64 {
	made := int64(math.Ceil(float64(n.canvasPixels()) * float64(n.scale*n.scale)))
	masters := 2 * int64(n.layout.Planes)
	return planeBytes*(n.framePixels()*(batch*n.framePlanes()+masters)+n.canvasPixels()*(3+seenPlanes)+made*n.stackPlanes()) +
		int64(fields)*int64(gridFor(n.cv).len())*2*planeBytes + restBytes
}

// reference is what finding the reference needs.
func (n needs) reference() int64 {
	return planeBytes*(n.framePixels()*(batch*(n.framePlanes()+1)+workers*seenPlanes)+n.canvasPixels()*(n.stackPlanes()+2*seenPlanes)) + restBytes
}

// block is what finding the fields of a block needs.
func (n needs) block() int64 {
	return planeBytes*(n.framePixels()*workers*(n.framePlanes()+seenPlanes)+n.canvasPixels()*2*seenPlanes) + restBytes
}
