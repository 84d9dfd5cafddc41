package moon

import "plenilune/steps/kernel/portable"

// Aspect is how one view differs from another, the reference: all that is needed to carry ground from one onto the other's disk,
// and nothing of where on the Earth either stands.
//
// It is told on a ball of longitudes and latitudes of its own, whose origin is the middle of the reference's disk and whose pole
// lies up there, where the Moon's own north is.
type Aspect struct {
	EastDeg, NorthDeg float64 // the view's sub-observer point on that ball
	AxisDeg           float64 // turn of that ball's pole on the sky since the reference, north through east
	UprightDeg        float64 // the same against the zenith: what a camera sees that stays upright; −180…180°
	ZenithDeg         float64 // from that ball's pole to the zenith, north through east; −180…180°
	DistanceKM        float64
}

// Against returns how a view differs from a reference. UprightDeg and ZenithDeg mean something where both are a site's.
func (v View) Against(reference View) Aspect {
	ball, own := reference.Disk().axes, v.Disk().axes
	z := ball.of(own[2])
	a := Aspect{DistanceKM: v.DistanceKM}
	a.EastDeg, a.NorthDeg = vector{z[2], z[0], z[1]}.direction()
	// The ball's pole leans to the right of the Moon's, which is up: towards smaller position angles.
	lean := portable.Atan2(ball[1].dot(own[0]), ball[1].dot(own[1])) / degree
	a.AxisDeg = around(v.AxisDeg - lean - reference.AxisDeg)
	a.ZenithDeg = around(v.Horizon.ParallacticDeg - v.AxisDeg + lean)
	a.UprightDeg = around(a.AxisDeg - v.Horizon.ParallacticDeg + reference.Horizon.ParallacticDeg)
	return a
}

// Disk returns the view's disk over the ball of the reference; that of the reference itself is DiskOf(0, 0, its distance).
func (a Aspect) Disk() Disk { return DiskOf(a.EastDeg, a.NorthDeg, a.DistanceKM) }

// around brings an angle in degrees to −180…180.
func around(deg float64) float64 {
	if deg = circle(deg); deg > 180 {
		deg -= 360
	}
	return deg
}
