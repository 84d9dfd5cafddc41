package moon

import (
	"fmt"
	"math"

	"plenilune/steps/kernel/portable"
)

// Carry takes places of one view's disk to where the same ground lies on another view's disk, both in units of their limb's radius.
//
// The limb is not a place on the ground: from another side other ground forms it, but it stays a circle. So within a ring inside the
// limb the ground's way fades to none, and on and beyond the limb places only turn with the disk's axis. The map is continuous, so are its
// slopes, and it never folds: limb stays limb, sky stays sky, and nothing tears between them. Inside the ring it is exact.
type Carry struct {
	from, to Disk
	turn     matrix  // from's axes to to's
	sin, cos float64 // of the turn about the line of sight
	ring     float64
}

// mostTurn is the largest angle between two views, in radians, that a Carry takes: 0.2 is 11°, what the Moon turns under an
// observer in a day.
const mostTurn = 0.2

// ringOfTurn times the square of the angle between the views is the least width of the ring: then the fading adds at most 0.6 to the slope,
// and the map does not fold.
const ringOfTurn = 13

// NewCarry returns the map from one disk to another. softness is the least width of the ring in limb radii, 0…0.5: what blurs
// the limb in a picture, so that its profile is moved as a whole. It fails where the views are more than 11° apart.
func NewCarry(from, to Disk, softness float64) (Carry, error) {
	c := Carry{from: from, to: to, turn: to.axes.after(from.axes.back())}
	tilt := from.axes[2].cross(to.axes[2]).length()
	if from.axes[2].dot(to.axes[2]) < 0 || tilt > mostTurn {
		return c, fmt.Errorf("carry over the sphere: the views are %.1f° apart, which is more than %.1f°",
			portable.Atan2(tilt, from.axes[2].dot(to.axes[2]))/degree, mostTurn/degree)
	}
	s, k := c.turn[1][0]-c.turn[0][1], c.turn[0][0]+c.turn[1][1]
	l := portable.Hypot(s, k)
	c.sin, c.cos = s/l, k/l
	c.ring = max(softness, float64(ringOfTurn*tilt*tilt))
	return c, nil
}

// At returns where a place of the first disk, or of the sky around it, lies on the second.
func (c *Carry) At(x, y float64) (tx, ty float64) {
	tx, ty = float64(c.cos*x)-float64(c.sin*y), float64(c.sin*x)+float64(c.cos*y)
	rho := float64(x*x) + float64(y*y)
	if !(rho < 1) {
		return tx, ty
	}
	ex, ey := c.to.project(c.turn.of(c.from.lift(x, y)))
	w := (1 - math.Sqrt(rho)) / c.ring
	if w >= 1 {
		return ex, ey
	}
	w = float64(w*w) * (3 - float64(2*w))
	return tx + float64(w*(ex-tx)), ty + float64(w*(ey-ty))
}
