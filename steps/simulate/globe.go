package simulate

import "math"

// moonRadiusKm is the mean radius (IAU Working Group on Cartographic Coordinates
// and Rotational Elements).
const moonRadiusKm = 1737.4

// globe is the Moon as it is seen: a perspective view of a sphere on a grid of
// square pixels, north up. In the axes of the view x points right, y up and z
// to the observer; lengths are in lunar radii.
type globe struct {
	side     int     // px, the grid is square
	cx, cy   float64 // px, where the disk's centre lies
	radius   float64 // px, of the limb
	distance float64 // observer to Moon's centre, in radii
	tanLimb  float64
	axes     [3]vec // the view's axes in selenographic axes
}

// newGlobe looks at the sub-observer point (lonDeg, latDeg) from a distance of
// distanceRadii.
func newGlobe(side int, radiusPx, lonDeg, latDeg, distanceRadii float64) *globe {
	k := 1 / distanceRadii
	z := place(latDeg, lonDeg)
	east, north := tangent(z)
	c := float64(side / 2)
	return &globe{
		side: side, cx: c, cy: c, radius: radiusPx,
		distance: distanceRadii, tanLimb: k / math.Sqrt(1-float64(k*k)),
		axes: [3]vec{east, north, z},
	}
}

// toView turns selenographic axes into those of the view.
func (g *globe) toView(p vec) vec {
	return vec{p.dot(g.axes[0]), p.dot(g.axes[1]), p.dot(g.axes[2])}
}

// toMoon is the inverse of toView.
func (g *globe) toMoon(p vec) vec {
	return g.axes[0].times(p[0]).plus(p[1], g.axes[1]).plus(p[2], g.axes[2])
}

// beyond returns the distance of a pixel from the disk's centre in limb radii.
func (g *globe) beyond(u, v float64) float64 {
	x, y := (u-g.cx)/g.radius, (v-g.cy)/g.radius
	return math.Sqrt(float64(x*x) + float64(y*y))
}

// point returns the unit vector of the ground at a pixel, in the view's axes; a
// pixel off the disk is carried inward to the limb.
func (g *globe) point(u, v float64) vec {
	x, y := (u-g.cx)/g.radius, -(v-g.cy)/g.radius
	if rho := math.Sqrt(float64(x*x) + float64(y*y)); rho > 1 {
		x, y = x/rho, y/rho
	}
	x *= g.tanLimb
	y *= g.tanLimb
	q := 1 + float64(x*x) + float64(y*y)
	d := g.distance
	root := math.Sqrt(max(0, float64(d*d)-float64(q*(float64(d*d)-1))))
	s := (d - root) / q
	return vec{float64(s * x), float64(s * y), d - s}
}

// pixel returns where a place in the view's axes is seen. It need not lie on
// the sphere, nor on the near side.
func (g *globe) pixel(p vec) (u, v float64) {
	k := g.radius / float64((g.distance-p[2])*g.tanLimb)
	return g.cx + float64(p[0]*k), g.cy - float64(p[1]*k)
}

// kmPerPx is the ground's scale at the disk's centre.
func (g *globe) kmPerPx() float64 { return moonRadiusKm / g.radius }
