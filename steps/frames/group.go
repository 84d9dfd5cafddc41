package frames

import (
	"fmt"
	"math"
	"strconv"

	"plenilune/steps/format/raw"
)

// group is what clips and masters must have in common: the same part of the same
// sensor, read in the same way. The pattern is that in the files: what a setting
// makes of it holds for the clips alone.
type group struct {
	w, h, planes, depth int
	pattern             string
}

func (i clipIndex) group() group {
	return group{i.Layout.Width, i.Layout.Height, i.Layout.Planes, i.Depth, colours(i.FilePattern)}
}

func (m masterIndex) group() group {
	return group{m.Width, m.Height, m.Planes, m.Depth, colours(m.Pattern)}
}

// colours is a pattern without what is read away: in which order a file holds the colours of a pixel.
func colours(pattern string) string {
	if pattern == raw.BGR {
		return raw.RGB
	}
	return pattern
}

func (g group) String() string {
	return fmt.Sprintf("%d×%d px, %s, %d bit", g.w, g.h, g.pattern, g.depth)
}

// camera is how frames were exposed, as the manifest states it: raw files do not say.
type camera struct {
	exposureMS, gain *float64 // nil: unknown
}

// sameShare is by how much two exposures or gains may differ and still be one:
// cameras round what they are asked for.
const sameShare = 0.01

// fits tells whether two values may be the same: what is unknown fits anything.
func fits(a, b *float64) bool {
	return a == nil || b == nil || math.Abs(*a-*b) <= float64(sameShare*max(math.Abs(*a), math.Abs(*b)))
}

// known counts the values that are stated on both sides.
func (c camera) known(o camera) (n int) {
	if c.exposureMS != nil && o.exposureMS != nil {
		n++
	}
	if c.gain != nil && o.gain != nil {
		n++
	}
	return n
}

// differences says in what a master's frames differ from those that it is wanted
// for, each as "size (24×16 px, not 32×16 px)"; none: it fits. timed tells whether
// exposures must agree: those of a flat need not, it is divided by its own mean.
func differences(master, wanted group, made, used camera, timed bool) []string {
	var out []string
	differ := func(what, is, not string) {
		if is != not {
			out = append(out, fmt.Sprintf("%s (%s, not %s)", what, is, not))
		}
	}
	differ("size", fmt.Sprintf("%d×%d px", master.w, master.h), fmt.Sprintf("%d×%d px", wanted.w, wanted.h))
	differ("colours", master.pattern, wanted.pattern)
	differ("depth", fmt.Sprintf("%d bit", master.depth), fmt.Sprintf("%d bit", wanted.depth))
	if timed && !fits(made.exposureMS, used.exposureMS) {
		differ("exposure", number(*made.exposureMS)+" ms", number(*used.exposureMS)+" ms")
	}
	if !fits(made.gain, used.gain) {
		differ("gain", number(*made.gain), number(*used.gain))
	}
	return out
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
