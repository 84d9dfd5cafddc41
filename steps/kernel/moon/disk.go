package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// Point is a place on the Moon's ball as a unit vector from its middle: x to selenographic longitude and latitude 0, y
// to 90° east, z to the north pole.
type Point [3]float64

// At returns the point at a selenographic longitude and latitude.
func At(lonDeg, latDeg float64) Point { return Point(toward(lonDeg, latDeg)) }

// LonLat returns the selenographic longitude, −180…180°, and latitude of a point.
func (p Point) LonLat() (lonDeg, latDeg float64) { return vector(p).direction() }

// Disk is the Moon's ball as it is seen from one place: in perspective, on the plane that touches the celestial sphere at the disk's
// middle, as a camera shows it. Places on it are in units of the limb's radius: x to the right with the lunar north pole up
// (lunar east; on the sky of the Earth's north, west), y up. Beyond the limb, at a distance of 1, is sky.
type Disk struct {
	axes matrix  // from the Moon's axes: right, up, to the observer
	near float64 // the Moon's radius over the observer's distance from its middle
}

// DiskOf returns the disk under an observer over the sub-observer point; beyond the Moon's surface. From +Inf km
// it is orthographic.
func DiskOf(subLonDeg, subLatDeg, distanceKM float64) Disk {
	z := toward(subLonDeg, subLatDeg)
	x := toward(subLonDeg+90, 0)
	return Disk{matrix{x, z.cross(x), z}, RadiusKM / distanceKM}
}

// Disk returns the disk of a view.
func (v View) Disk() Disk { return DiskOf(v.SubLonDeg, v.SubLatDeg, v.DistanceKM) }

// limb is the scale that brings the limb to a distance of 1.
func (d Disk) limb() float64 { return math.Sqrt(1 - float64(d.near*d.near)) }

// project takes a point in the disk's axes.
func (d Disk) project(p vector) (x, y float64) {
	k := d.limb() / (1 - float64(d.near*p[2]))
	return float64(k * p[0]), float64(k * p[1])
}

// Project returns where on the disk a point is, and whether it is on the side that can be seen.
func (d Disk) Project(p Point) (x, y float64, visible bool) {
	v := d.axes.of(vector(p))
	x, y = d.project(v)
	return x, y, v[2] > d.near
}

// lift returns the point, in the disk's axes, that is seen at a distance of at most 1 from the middle.
func (d Disk) lift(x, y float64) vector {
	rho := float64(x*x) + float64(y*y)
	a := d.limb()
	// The near one of the two places where the line of sight meets the ball.
	q := float64(d.near*rho) / float64(a*a)
	z := (q + math.Sqrt(max(0, 1-rho))) / (1 + float64(d.near*q))
	k := (1 - float64(d.near*z)) / a
	return vector{k * x, k * y, z}
}

// Unproject returns the point that is seen at a place of the disk; ok is false beyond the limb.
func (d Disk) Unproject(x, y float64) (p Point, ok bool) {
	if !(float64(x*x)+float64(y*y) <= 1) {
		return p, false
	}
	return Point(d.axes.back().of(d.lift(x, y))), true
}

// Emission returns the cosine of the angle between the vertical of a point and the line to the observer; negative on the far side.
func (d Disk) Emission(p Point) float64 {
	z := d.axes[2].dot(vector(p))
	return (z - d.near) / math.Sqrt(1-float64(2*d.near*z)+float64(d.near*d.near))
}

// Scale returns the size on the disk, in limb radii, of small lengths on the ground at a point, in units of the Moon's radius: along the
// circle around the disk's middle, and towards it.
func (d Disk) Scale(p Point) (around, inward float64) {
	z := d.axes[2].dot(vector(p))
	far := 1 - float64(d.near*z)
	return d.limb() / far, d.limb() * (z - d.near) / float64(far*far)
}

// Incidence returns the cosine of the angle between the vertical of a point and the Sun; negative at night.
func (v View) Incidence(p Point) float64 {
	return toward(v.SunLonDeg, v.SunLatDeg).dot(vector(p))
}

// Sky returns how far east and north of the disk's middle a place of the disk is seen on the tangent plane, in arcsec, and
// without the air's flattening.
func (v View) Sky(x, y float64) (eastArcsec, northArcsec float64) {
	s, c := portable.Sincos(v.AxisDeg * degree)
	k := v.limbArcsec()
	return k * (float64(y*s) - float64(x*c)), k * (float64(x*s) + float64(y*c))
}

// OnDisk is the inverse of Sky.
func (v View) OnDisk(eastArcsec, northArcsec float64) (x, y float64) {
	s, c := portable.Sincos(v.AxisDeg * degree)
	k := v.limbArcsec()
	return (float64(northArcsec*s) - float64(eastArcsec*c)) / k, (float64(eastArcsec*s) + float64(northArcsec*c)) / k
}

// limbArcsec is the limb's radius on the tangent plane: the tangent of the semidiameter.
func (v View) limbArcsec() float64 {
	r := RadiusKM / v.DistanceKM
	return r / math.Sqrt(1-float64(r*r)) / arcsec
}
