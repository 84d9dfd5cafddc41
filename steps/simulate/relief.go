package simulate

import (
	"context"
	"math"
)

// relief is the ground as the view's grid sees it: heights in km above the mean
// sphere, and for each pixel the direction of its ground in the view's axes.
type relief struct {
	*globe
	dirs   []float32 // x, y, z a pixel
	height []float32
	mare   []float32
	albedo []float32
	fresh  []float32 // brightening by young craters, 0…1
	wave   ground    // makes rims uneven
}

// newRelief lays out plains, swells and the grain of the ground, no craters yet.
func newRelief(ctx context.Context, g *globe, m *maria, seed uint64, workers int) (*relief, error) {
	n := g.side * g.side
	r := &relief{
		globe: g, dirs: make([]float32, 3*n), height: make([]float32, n), mare: make([]float32, n),
		albedo: make([]float32, n), fresh: make([]float32, n), wave: newGround(seed, 5),
	}
	grain, ridge, tone := newGround(seed, 3), newGround(seed, 4), newGround(seed, 6)
	err := each(ctx, workers, g.side, func(v int) error {
		for u := range g.side {
			if g.beyond(float64(u), float64(v)) > 1.02 {
				continue
			}
			i := v*g.side + u
			d := g.point(float64(u), float64(v))
			for k := range 3 {
				r.dirs[3*i+k] = float32(d[k])
			}
			p := g.toMoon(d)
			c := m.at(p)
			rough := grain.sum(p, 34, 6, 0.62)
			hilly := 0.55 + float64(0.5*c.rim)
			h := c.heightKm + float64(blend(hilly, 0.025, c.mare)*rough)
			if c.mare > 0 {
				h += float64(float64(c.mare*0.22) * wrinkle(ridge, p))
			}
			r.height[i], r.mare[i] = float32(h), float32(c.mare)
			mottle := tone.sum(p, 2.3, 8, 0.72)
			high := float64(0.146 * (1 + float64(0.15*mottle) + float64(0.10*c.rim)))
			low := float64(c.albedo * (1 + float64(0.24*mottle)))
			r.albedo[i] = float32(blend(high, low, c.mare))
		}
		return nil
	})
	return r, err
}

// wrinkle is a mare ridge's height, 0…1: the narrow crest of slow noise, here
// and there.
func wrinkle(g ground, p vec) float64 {
	where := step(-0.05, 0.35, g.at(p.times(4.7)))
	if where == 0 {
		return 0
	}
	crest := 1 - float64(9*math.Abs(g.sum(p, 6.5, 3, 0.45)))
	return float64(where * max(0, crest))
}

// dig adds a crater to the ground.
func (r *relief) dig(c crater) {
	centre := r.toView(c.centre)
	radius := c.km / 2 / moonRadiusKm
	if centre[2] < -2.6*radius {
		return
	}
	p := newProfile(c)
	box := r.box(centre, radius*p.reach)
	base := r.level(centre, radius)
	uneven := 0.0
	if c.km/r.kmPerPx() > 7 {
		uneven = 0.09
	}
	freq := 1.5 / radius
	glow := 0.0
	if c.worn < 0.06 && !c.named {
		glow = 0.4
	}
	for v := box[1]; v < box[3]; v++ {
		for u := box[0]; u < box[2]; u++ {
			i := v*r.side + u
			x, y, z := float64(r.dirs[3*i]), float64(r.dirs[3*i+1]), float64(r.dirs[3*i+2])
			dx, dy, dz := x-centre[0], y-centre[1], z-centre[2]
			d := math.Sqrt(float64(dx*dx)+float64(dy*dy)+float64(dz*dz)) / radius
			if d > p.reach*1.1 || x == 0 && y == 0 && z == 0 {
				continue
			}
			if uneven > 0 {
				d *= 1 + float64(uneven*r.wave.at(vec{x, y, z}.times(freq)))
			}
			h := float64(r.height[i])
			h = blend(h, base, p.erased(d)) + p.at(d)
			r.height[i] = float32(h)
			if glow > 0 && d < p.reach {
				b := glow * (1 - step(0.5, p.reach, d))
				r.fresh[i] = max(r.fresh[i], float32(b))
			}
		}
	}
}

// box returns the pixels u0, v0, u1, v1 around a cap.
func (r *relief) box(c vec, radius float64) [4]int {
	u, v := r.pixel(c)
	half := float64(radius*r.radius*1.12) + 2
	lim := func(x float64) int { return min(r.side, max(0, int(x))) }
	return [4]int{lim(u - half), lim(v - half), lim(u + half + 1), lim(v + half + 1)}
}

// level is the mean height around a crater's rim and centre before it was dug.
func (r *relief) level(c vec, radius float64) float64 {
	u, v := r.pixel(c)
	k := float64(radius * r.radius)
	sum, n := 0.0, 0.0
	for _, o := range [9][2]float64{{0, 0}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}, {.7, .7}, {-.7, .7}, {.7, -.7}, {-.7, -.7}} {
		x, y := int(u+float64(o[0]*k)+0.5), int(v+float64(o[1]*k)+0.5)
		if x < 0 || y < 0 || x >= r.side || y >= r.side {
			continue
		}
		if i := y*r.side + x; r.dirs[3*i] != 0 || r.dirs[3*i+1] != 0 {
			sum += float64(r.height[i])
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}
