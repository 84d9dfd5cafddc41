package simulate

import (
	"math"

	"plenilune/steps/kernel/portable"
)

const degree = math.Pi / 180

// vec is a direction or a place in units of the Moon's radius.
type vec [3]float64

func (a vec) dot(b vec) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func (a vec) cross(b vec) vec {
	return vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

// plus returns a + k·b.
func (a vec) plus(k float64, b vec) vec {
	return vec{a[0] + float64(k*b[0]), a[1] + float64(k*b[1]), a[2] + float64(k*b[2])}
}

func (a vec) times(k float64) vec { return vec{k * a[0], k * a[1], k * a[2]} }

func (a vec) norm() float64 { return math.Sqrt(a.dot(a)) }

func (a vec) unit() vec { return a.times(1 / a.norm()) }

// place is the point of the sphere at a selenographic latitude and longitude,
// in axes x toward longitude 90° east, y north, z toward longitude 0.
func place(latDeg, lonDeg float64) vec {
	sb, cb := portable.Sincos(latDeg * degree)
	sl, cl := portable.Sincos(lonDeg * degree)
	return vec{float64(cb * sl), sb, float64(cb * cl)}
}

// tangent returns the directions east and north at p.
func tangent(p vec) (east, north vec) {
	east = vec{0, 1, 0}.cross(p)
	if east.norm() < 1e-9 {
		east = vec{1, 0, 0}
	}
	east = east.unit()
	return east, p.cross(east)
}

// step rises from 0 at a to 1 at b, smoothly at both ends.
func step(a, b, x float64) float64 {
	a, b = float64(a), float64(b) // no product in an argument may melt into the difference
	t := min(1, max(0, (float64(x)-a)/(b-a)))
	return float64(float64(t*t) * (3 - float64(2*t)))
}

// blend returns a where t is 0, b where it is 1.
func blend(a, b, t float64) float64 { return a + float64((b-a)*t) }

// azimuthDeg is the direction of (east, north) from north through east, 0…360.
func azimuthDeg(east, north float64) float64 {
	a := portable.Atan2(east, north) / degree
	if a < 0 {
		a += 360
	}
	return a
}
