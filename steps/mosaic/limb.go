package mosaic

import (
	"math"
	"slices"

	"plenilune/steps/kernel/portable"
)

// brink is a place where a panel steps from dark to bright, with the direction
// towards the bright side, in panel pixels.
type brink struct{ X, Y, NX, NY float64 }

// brinksOf finds steps that may be the limb: ridges of the gradient, steep against the panel's
// range, with flat darkness of the sky's level on the outer side. Steps at crater walls and at
// the terminator come along; the circle sorts them out.
func brinksOf(v []float32, w, h int, r tonalRange, most int) []brink {
	if r.empty() {
		return nil
	}
	mask, filled := maskOf(v)
	s := smoothOver(filled, mask, w, h, 1.5)
	const margin = 16
	far := distanceWithin(mask, w, h, margin)
	span := r.Bright - r.Sky
	dark := max(0.06*span, 4*r.Noise)
	length := func(i int) float64 {
		gx, gy := float64(s[i+1]-s[i-1]), float64(s[i+w]-s[i-w])
		return math.Sqrt(float64(gx*gx)+float64(gy*gy)) / 2
	}
	look := func(x, y float64) float64 {
		i := int(math.Round(y))*w + int(math.Round(x))
		return float64(s[i])
	}
	var out []brink
	for y := margin; y+margin < h; y++ {
		for x := margin; x+margin < w; x++ {
			i := y*w + x
			if far[i] < margin {
				continue
			}
			g := length(i)
			if g < 0.012*span || g < 8*r.Noise {
				continue
			}
			nx, ny := float64(s[i+1]-s[i-1])/2/g, float64(s[i+w]-s[i-w])/2/g
			ix, iy := int(math.Round(nx)), int(math.Round(ny))
			if length(i+iy*w+ix) > g || length(i-iy*w-ix) >= g {
				continue
			}
			fx, fy := float64(x), float64(y)
			// Outside it is dark soon, inside it is bright at once: a terminator brightens slowly.
			out1, out2 := look(fx-float64(8*nx), fy-float64(8*ny))-r.Sky, look(fx-float64(14*nx), fy-float64(14*ny))-r.Sky
			in1, in2 := look(fx+float64(6*nx), fy+float64(6*ny))-r.Sky, look(fx+float64(14*nx), fy+float64(14*ny))-r.Sky
			if out1 > max(dark, 0.2*in1) || out2 > max(dark/2, 0.1*in1) || in1 < 0.6*in2 || in1 < dark {
				continue
			}
			out = append(out, brink{fx, fy, nx, ny})
		}
	}
	if len(out) > most { // evenly thinned
		thin := make([]brink, most)
		for k := range thin {
			thin[k] = out[k*len(out)/most]
		}
		out = thin
	}
	return out
}

// findCircle looks for the circle that most brinks lie on with their bright side
// inwards. Two brinks with their directions give a centre; those of systematic pairs are tried.
func findCircle(b []brink, rMin, rMax, tol float64) (c circle, support int) {
	const pairs = 4000
	n := len(b)
	if n < 12 {
		return c, 0
	}
	step := max(1, n*n/2/pairs)
	k := 0
	for i := range n {
		for j := i + 1; j < n; j++ {
			if k++; k%step != 0 {
				continue
			}
			t, ok := meetInside(b[i], b[j], rMin, rMax)
			if !ok {
				continue
			}
			if m := t.support(b, tol); m > support {
				c, support = t, m
			}
		}
	}
	c.Found = support > 0
	return c, support
}

// meetInside returns the circle through both brinks whose centre lies where their inward directions
// meet, if both distances agree.
func meetInside(p, q brink, rMin, rMax float64) (circle, bool) {
	cross := float64(p.NX*q.NY) - float64(p.NY*q.NX)
	if math.Abs(cross) < 0.08 { // under 5°: the meeting point is too uncertain
		return circle{}, false
	}
	dx, dy := q.X-p.X, q.Y-p.Y
	rp := (float64(dx*q.NY) - float64(dy*q.NX)) / cross
	rq := (float64(dx*p.NY) - float64(dy*p.NX)) / cross
	r := (rp + rq) / 2
	if rp <= 0 || rq <= 0 || r < rMin || r > rMax || math.Abs(rp-rq) > 0.1*r {
		return circle{}, false
	}
	// The direction is good to some degrees only; the middle of both centres with equal radii is better.
	cx := float64((p.X + float64(r*p.NX) + q.X + float64(r*q.NX)) / 2)
	cy := float64((p.Y + float64(r*p.NY) + q.Y + float64(r*q.NY)) / 2)
	d := func(b brink) float64 {
		return math.Sqrt(float64((b.X-cx)*(b.X-cx)) + float64((b.Y-cy)*(b.Y-cy)))
	}
	return circle{true, cx, cy, (d(p) + d(q)) / 2}, true
}

func (c circle) holds(b brink, tol float64) bool {
	dx, dy := c.X-b.X, c.Y-b.Y
	d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
	return math.Abs(d-c.R) <= tol && float64(dx*b.NX)+float64(dy*b.NY) > 0.97*d
}

func (c circle) support(b []brink, tol float64) int {
	n := 0
	for _, p := range b {
		if c.holds(p, tol) {
			n++
		}
	}
	return n
}

// refine fits the circle to the brinks near it, robustly, a few times.
func (c circle) refine(b []brink, tol float64) circle {
	for range 8 {
		var n [10]float64
		var rhs [4]float64
		n[9] = 1 // the fourth unknown is not used
		for _, p := range b {
			if !c.holds(p, tol) {
				continue
			}
			dx, dy := p.X-c.X, p.Y-c.Y
			d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
			row := [3]float64{dx / d, dy / d, 1}
			res := d - c.R
			w := 1 / (1 + float64(res*res))
			k := 0
			for i := range 4 {
				for j := i; j < 4; j++ {
					if j < 3 {
						n[k] += float64(w * row[i] * row[j])
					}
					k++
				}
				if i < 3 {
					rhs[i] += float64(w * row[i] * res)
				}
			}
		}
		v, ok := solve4(n, rhs)
		if !ok {
			return c
		}
		c.X += v[0]
		c.Y += v[1]
		c.R += v[2]
		tol = max(2, tol*0.8)
	}
	return c
}

// profileHalf is how far a limb profile reaches to either side, in pixels.
const profileHalf = 7

// rimsOf measures the limb along its arc in one panel, every step pixels: the place of
// the steepest rise of the radial profile, averaged over the step.
func rimsOf(p panel, m similarity, c circle, r tonalRange, step float64) []rim {
	inv := m.inverse()
	n := int(2 * math.Pi * c.R / step)
	var out []rim
	for k := range n {
		a := 2 * math.Pi * float64(k) / float64(n)
		sin, cos := portable.Sincos(a)
		x, y := inv.at(c.X+float64(c.R*cos), c.Y+float64(c.R*sin))
		if x < profileHalf || y < profileHalf || x > float64(p.w-1-profileHalf) || y > float64(p.h-1-profileHalf) {
			continue
		}
		off, ok := steepest(p, inv, c, cos, sin, step, r)
		if !ok {
			continue
		}
		rr := c.R + off
		x, y = inv.at(c.X+float64(rr*cos), c.Y+float64(rr*sin))
		out = append(out, rim{X: x, Y: y})
	}
	return out
}

// A place of the limb is believed where the ground inside it, from profileHalf to 3 px, is nearly as bright as the brightest
// of the profile.
const (
	rimPlateau = 2*(profileHalf-3) + 1
	rimLevel   = 0.7
)

// steepest returns how far outside the circle the profile falls most steeply. The profile is sampled twice a
// pixel and averaged along the arc.
func steepest(p panel, inv similarity, c circle, cos, sin, step float64, r tonalRange) (float64, bool) {
	const n = 4*profileHalf + 1
	var prof [n]float64
	across := max(2, int(step))
	for k := range n {
		rad := c.R + float64(float64(k)/2) - profileHalf
		for j := range across {
			t := float64(j) - float64(float64(across-1)/2)
			// Along the arc, not the tangent: the sagitta of a step is t²/2R.
			rr := rad - float64(t*t)/(2*c.R)
			x, y := inv.at(c.X+float64(rr*cos)-float64(t*sin), c.Y+float64(rr*sin)+float64(t*cos))
			v, ok := p.linear(x, y)
			if !ok {
				return 0, false
			}
			prof[k] += v / float64(across)
		}
	}
	// Derivative of the profile under a blur of about a pixel.
	var fall [n]float64
	best := 0
	for k := 3; k+3 < n; k++ {
		fall[k] = (prof[k-3] - prof[k+3]) + 2*(prof[k-2]-prof[k+2]) + 2*(prof[k-1]-prof[k+1])
		if fall[k] > fall[best] {
			best = k
		}
	}
	in, out := prof[0], slices.Min(prof[n-6:])
	height := max(in, prof[6]) - out
	if best < 6 || best+6 >= n || height < max(0.06*(r.Bright-r.Sky), 15*r.Noise) || out > r.Sky+float64(0.08*(r.Bright-r.Sky)) || fall[best] < height {
		return 0, false
	}
	// Near the cusps the lit ground is a thin line: blurred, it falls most steeply outside itself.
	if slices.Min(prof[:rimPlateau])-out < rimLevel*(slices.Max(prof[:])-out) {
		return 0, false
	}
	l, m, h := fall[best-1], fall[best], fall[best+1]
	d := (l - h) / float64(2*(l-float64(2*m)+h))
	return float64((float64(best)+d)/2) - profileHalf, true
}

func (p panel) linear(x, y float64) (float64, bool) {
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int(fx), int(fy)
	if ix < 0 || iy < 0 || ix+1 >= p.w || iy+1 >= p.h {
		return 0, false
	}
	i := iy*p.w + ix
	dx, dy := float32(x-fx), float32(y-fy)
	top := p.v[i] + float32(dx*(p.v[i+1]-p.v[i]))
	low := p.v[i+p.w] + float32(dx*(p.v[i+p.w+1]-p.v[i+p.w]))
	v := float64(top + float32(dy*(low-top)))
	return v, v == v
}
