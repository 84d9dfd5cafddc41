package mosaic

import (
	"math"

	"plenilune/steps/kernel/portable"
)

// similarity maps x' = A·x − B·y + X, y' = B·x + A·y + Y: a turn, a scale and a
// shift, never a mirror image. The zero value maps everything to the origin.
type similarity struct{ A, B, X, Y float64 }

// at maps a point.
func (s similarity) at(x, y float64) (float64, float64) {
	return float64(s.A*x) - float64(s.B*y) + float64(s.X), float64(s.B*x) + float64(s.A*y) + float64(s.Y)
}

// turned maps a direction: the shift is left out.
func (s similarity) turned(x, y float64) (float64, float64) {
	return float64(s.A*x) - float64(s.B*y), float64(s.B*x) + float64(s.A*y)
}

// scale returns the factor by which lengths grow.
func (s similarity) scale() float64 { return math.Sqrt(float64(s.A*s.A) + float64(s.B*s.B)) }

// turn returns the angle from x towards y in radians, −π…π.
func (s similarity) turn() float64 { return portable.Atan2(s.B, s.A) }

// inverse returns the map back; s must have a scale above zero.
func (s similarity) inverse() similarity {
	n := float64(s.A*s.A) + float64(s.B*s.B)
	a, b := s.A/n, -s.B/n
	return similarity{a, b, -(float64(a*s.X) - float64(b*s.Y)), -(float64(b*s.X) + float64(a*s.Y))}
}

// after returns the map that applies t first, then s.
func (s similarity) after(t similarity) similarity {
	x, y := s.at(t.X, t.Y)
	return similarity{
		A: float64(s.A*t.A) - float64(s.B*t.B),
		B: float64(s.B*t.A) + float64(s.A*t.B),
		X: x, Y: y,
	}
}

// pose says where a panel lies in the mosaic: its middle is at (X, Y), turned by
// Turn radians and scaled by Scale.
type pose struct{ X, Y, Turn, Scale float64 }

// of returns the map from pixels of a w by h panel to the mosaic.
func (p pose) of(w, h int) similarity {
	sin, cos := portable.Sincos(p.Turn)
	s := similarity{A: p.Scale * cos, B: p.Scale * sin}
	mx, my := s.turned(float64(w-1)/2, float64(h-1)/2)
	s.X, s.Y = p.X-mx, p.Y-my
	return s
}

// poseOf is the inverse of pose.of.
func poseOf(s similarity, w, h int) pose {
	x, y := s.at(float64(w-1)/2, float64(h-1)/2)
	return pose{X: x, Y: y, Turn: s.turn(), Scale: s.scale()}
}

// wrap brings an angle in radians to −π…π.
func wrap(a float64) float64 {
	return a - float64(2*math.Pi*math.Round(a/(2*math.Pi)))
}

// pointPair is a place seen in two panels.
type pointPair struct{ AX, AY, BX, BY float64 }

// fitSimilarity returns the weighted least-squares similarity from A to B
// (Umeyama 1991; in the plane without reflection it has this closed form).
// Weights may be nil. ok is false when the points of A coincide.
func fitSimilarity(pts []pointPair, weight []float64) (s similarity, ok bool) {
	var n, ax, ay, bx, by float64
	for i, p := range pts {
		w := 1.0
		if weight != nil {
			w = weight[i]
		}
		n += w
		ax += float64(w * p.AX)
		ay += float64(w * p.AY)
		bx += float64(w * p.BX)
		by += float64(w * p.BY)
	}
	if n <= 0 {
		return s, false
	}
	ax, ay, bx, by = ax/n, ay/n, bx/n, by/n
	var va, re, im float64
	for i, p := range pts {
		w := 1.0
		if weight != nil {
			w = weight[i]
		}
		ux, uy, vx, vy := p.AX-ax, p.AY-ay, p.BX-bx, p.BY-by
		va += float64(w * (float64(ux*ux) + float64(uy*uy)))
		re += float64(w * (float64(ux*vx) + float64(uy*vy)))
		im += float64(w * (float64(ux*vy) - float64(uy*vx)))
	}
	if va <= 0 || float64(re*re)+float64(im*im) <= 0 {
		return s, false
	}
	s.A, s.B = re/va, im/va
	x, y := s.turned(ax, ay)
	s.X, s.Y = bx-x, by-y
	return s, true
}
