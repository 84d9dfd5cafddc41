package stacks

import (
	"errors"

	"plenilune/steps/kernel/portable"
)

var errNoFrames = errors.New("no frame of the clip can be used")

func powOf(x, p float64) float64 {
	if p == 1 {
		return x
	}
	return portable.Pow(x, p)
}
