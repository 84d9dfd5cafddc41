package survey

import (
	"math"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

const degree = 0.017453292519943295

// spot is a place by the disk's middle, in arcmin: east and north on the sky, or right and up in the camera.
type spot struct{ x, y float64 }

// frame is how the camera is turned: the position angle of its up, in degrees.
type frame float64

// turn takes a place of the sky, east and north, to right and up in the camera's picture, which is not mirrored; and back.
func (f frame) turn(p spot) spot {
	s, c := portable.Sincos(float64(f) * degree)
	return spot{float64(p.y*s) - float64(p.x*c), float64(p.x*s) + float64(p.y*c)}
}

// dawnDeg is how far beyond the terminator, in degrees, ground counts as lit: peaks of a kilometre and more stand there in the Sun.
const dawnDeg = 2

// ground returns the outline of what is to be covered, east and north of the disk's middle: the whole disk, or its sunlit part, whose inner edge
// is half an ellipse.
func ground(v moon.View, cover string) []spot {
	const parts = 360
	r := v.SemidiameterArcsec / 60
	inner := 1.0
	if cover == "lit" {
		inner = portable.Cos(max(0, v.PhaseDeg-dawnDeg) * degree)
	}
	s, c := portable.Sincos(v.BrightLimbDeg * degree)
	out := make([]spot, 0, 2*parts)
	add := func(i int, to float64) {
		a, b := portable.Sincos((float64(float64(i)*180/parts) - 90) * degree) // along the terminator, towards the Sun
		u, w := float64(to*b*r), a*r
		out = append(out, spot{float64(u*s) + float64(w*c), float64(u*c) - float64(w*s)})
	}
	for i := range parts {
		add(i, 1)
	}
	for i := range parts {
		add(parts-i, -inner)
	}
	return out
}

// area is a set of outlines, each of which must be covered.
type area [][]spot

// box is an upright rectangle.
type box struct{ x0, y0, x1, y1 float64 }

// within returns the box around the part of the area that lies in a box.
func (a area) within(b box) (around box, any bool) {
	for _, outline := range a {
		for _, p := range clip(outline, b) {
			if !any {
				around, any = box{p.x, p.y, p.x, p.y}, true
				continue
			}
			around = box{min(around.x0, p.x), min(around.y0, p.y), max(around.x1, p.x), max(around.y1, p.y)}
		}
	}
	return around, any
}

// everywhere holds every place.
var everywhere = box{math.Inf(-1), math.Inf(-1), math.Inf(1), math.Inf(1)}

// size is how wide and high the area is.
func (a area) size() spot {
	b, _ := a.within(everywhere)
	return spot{b.x1 - b.x0, b.y1 - b.y0}
}

// meets tells whether some of the area lies in a box.
func (a area) meets(b box) bool {
	for _, outline := range a {
		p, twice := clip(outline, b), 0.0
		for i, q := range p {
			o := p[(i+len(p)-1)%len(p)]
			twice += float64(o.x*q.y) - float64(q.x*o.y)
		}
		if twice > 1e-9 || twice < -1e-9 { // square arcmin
			return true
		}
	}
	return false
}

// clip cuts an outline to a box (Sutherland & Hodgman 1974, Communications of the ACM 17:32).
func clip(p []spot, b box) []spot {
	p = cut(p, func(s spot) float64 { return s.x - b.x0 })
	p = cut(p, func(s spot) float64 { return b.x1 - s.x })
	p = cut(p, func(s spot) float64 { return s.y - b.y0 })
	return cut(p, func(s spot) float64 { return b.y1 - s.y })
}

// cut keeps where inside, which is linear, is not negative.
func cut(p []spot, inside func(spot) float64) []spot {
	var out []spot
	for i, b := range p {
		a := p[(i+len(p)-1)%len(p)]
		da, db := inside(a), inside(b)
		if (da < 0) != (db < 0) {
			k := da / (da - db)
			out = append(out, spot{a.x + float64(k*(b.x-a.x)), a.y + float64(k*(b.y-a.y))})
		}
		if db >= 0 {
			out = append(out, b)
		}
	}
	return out
}
