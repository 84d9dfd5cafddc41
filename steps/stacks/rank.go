package stacks

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// errNoFrames is returned where there is nothing to stack.
var errNoFrames = errors.New("no frame of the clip can be used")

const framesLeast = 3 // kept, if there are so many

// ranked returns the usable frames, best grade first; equal ones in order of time.
func ranked(grade []float64) []int {
	var out []int
	for i, g := range grade {
		if g > 0 {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(grade[b], grade[a]) })
	return out
}

// kept returns how many of n usable frames the share keep stands for.
func kept(n int, keep float64) int {
	k := int(math.Ceil(float64(keep*float64(n)) - 1e-9))
	return min(n, max(k, framesLeast))
}
