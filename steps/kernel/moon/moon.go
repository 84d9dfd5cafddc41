// Package moon says where the Moon stands, how it is turned, and where each place on its ball is seen.
//
// Angles in exported names that end in Deg are degrees, east longitudes and north latitudes positive; lengths state their unit.
// Equatorial places are apparent ones, in the true equator and equinox of date. Good for 1950 to 2100: the Moon's place to
// 10″ in longitude and 4″ in latitude (the truncation of the series), the Sun's to 0.01°, the sub-observer point
// to 0.01° against the same rotation model, the distance to 15 km.
package moon

import (
	"math"

	"plenilune/steps/kernel/portable"
)

const (
	degree   = math.Pi / 180
	arcsec   = degree / 3600
	century  = 36525.0
	lightDay = 299792.458 * 86400 // km

	// RadiusKM is the Moon's mean radius (IAU: Archinal et al. 2018).
	RadiusKM = 1737.4
	// AUKM is the astronomical unit (IAU 2012).
	AUKM = 149597870.7
)

// vector has three components; what axes it stands in, its use says.
type vector [3]float64

// matrix turns vectors into other axes.
type matrix [3]vector

func (v vector) dot(w vector) float64 {
	return float64(v[0]*w[0]) + float64(v[1]*w[1]) + float64(v[2]*w[2])
}

func (v vector) plus(k float64, w vector) vector {
	return vector{v[0] + float64(k*w[0]), v[1] + float64(k*w[1]), v[2] + float64(k*w[2])}
}

func (v vector) length() float64 { return math.Sqrt(v.dot(v)) }

func (v vector) unit() vector {
	l := v.length()
	return vector{v[0] / l, v[1] / l, v[2] / l}
}

func (v vector) cross(w vector) vector {
	return vector{
		float64(v[1]*w[2]) - float64(v[2]*w[1]),
		float64(v[2]*w[0]) - float64(v[0]*w[2]),
		float64(v[0]*w[1]) - float64(v[1]*w[0]),
	}
}

func (m matrix) of(v vector) vector { return vector{m[0].dot(v), m[1].dot(v), m[2].dot(v)} }

// after is the turn that applies n first.
func (m matrix) after(n matrix) matrix {
	t := n.back()
	return matrix{t.of(m[0]), t.of(m[1]), t.of(m[2])}
}

// back is the inverse turn.
func (m matrix) back() matrix {
	return matrix{
		{m[0][0], m[1][0], m[2][0]},
		{m[0][1], m[1][1], m[2][1]},
		{m[0][2], m[1][2], m[2][2]},
	}
}

// aboutX and aboutZ turn the axes by an angle in radians, counterclockwise seen from the axis' end.
func aboutX(a float64) matrix {
	s, c := portable.Sincos(a)
	return matrix{{1, 0, 0}, {0, c, s}, {0, -s, c}}
}

func aboutY(a float64) matrix {
	s, c := portable.Sincos(a)
	return matrix{{c, 0, -s}, {0, 1, 0}, {s, 0, c}}
}

func aboutZ(a float64) matrix {
	s, c := portable.Sincos(a)
	return matrix{{c, s, 0}, {-s, c, 0}, {0, 0, 1}}
}

// toward returns the unit vector of a direction in degrees: longitude from x towards y, latitude towards z.
func toward(lonDeg, latDeg float64) vector {
	sl, cl := portable.Sincos(lonDeg * degree)
	sb, cb := portable.Sincos(latDeg * degree)
	return vector{cb * cl, cb * sl, sb}
}

// direction is the inverse of toward: longitude −180…180°, latitude −90…90°.
func (v vector) direction() (lonDeg, latDeg float64) {
	return portable.Atan2(v[1], v[0]) / degree, portable.Atan2(v[2], portable.Hypot(v[0], v[1])) / degree
}

// poly evaluates c[0] + c[1]·x + c[2]·x² + ….
func poly(x float64, c ...float64) float64 {
	s := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		s = float64(s*x) + c[i]
	}
	return s
}

// circle brings an angle in degrees to 0…360.
func circle(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}

func sinDeg(deg float64) float64 { return portable.Sin(math.Mod(deg, 360) * degree) }
func cosDeg(deg float64) float64 { return portable.Cos(math.Mod(deg, 360) * degree) }
