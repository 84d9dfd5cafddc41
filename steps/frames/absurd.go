package frames

import (
	"fmt"
	"math"
)

const (
	// darkOver is by how much, in shares of white, a dark may be brighter than a
	// clip in the mean: one of bare sky lies on the dark's own level.
	darkOver = 0.01
	// flatLeast is the least light, share of white, that a flat must hold: a sensor
	// with a full well of 10⁴ electrons gathers 200 there, 7 % of noise a frame.
	flatLeast = 0.02
	// flatFull is the most of a flat, share of its pixels, that may be at white. There
	// it no longer knows the light; hot pixels are a tenth of that (no source).
	flatFull = 0.01
	// flatUneven is the most, share of its light, that a flat may stray from a smooth
	// fall. Means of flats with vignetting, dust and hot pixels stray by 0.1 to
	// 0.5 %, panels of simulated Moons by 12 to 56 %. A dull mare may stay below.
	flatUneven = 0.04
)

// brighterThan tells whether a dark must not be taken off a clip of that mean level,
// share of white.
func (m *master) brighterThan(level float64) bool { return m.index.Level > level+darkOver }

// harmsAsFlat tells why clips must not be divided by a flat whose dark has that level;
// "" if they may.
func (m *master) harmsAsFlat(dark float64) string {
	light := m.index.Level - dark
	switch {
	case m.index.Saturated > flatFull:
		return fmt.Sprintf("%s of their pixels are at white", percent(m.index.Saturated))
	case light < flatLeast:
		return fmt.Sprintf("they are nearly black, %s of white above their dark", percent(max(0, light)))
	case m.index.Uneven > float64(flatUneven*light):
		return fmt.Sprintf("they hold a picture, not even light: brightness strays by %s", percent(m.index.Uneven/light))
	}
	return ""
}

func percent(share float64) string { return number(math.Round(1000*share)/10) + " %" }
