package simulate

import (
	"context"
	"math"

	"plenilune/steps/kernel/portable"
)

// sunRadius is the Sun's angular radius in radians as seen from the Moon.
const sunRadius = 0.00465

// lunarLambert returns the brightness of ground of unit normal albedo lit at the
// cosine mu0 of incidence and seen at mu of emission: Lommel–Seeliger's law of a
// dark powder and Lambert's, mixed by McEwen's weight for the phase angle
// (McEwen 1991), L = 1 - 0.019 α + 2.42e-4 α² - 1.46e-6 α³, α in degrees.
func lunarLambert(mu0, mu, phaseDeg float64) float64 {
	if mu0 <= 0 {
		return 0
	}
	w := mcEwen(phaseDeg)
	return float64(2*w*lommelSeeliger(mu0, mu)) + float64((1-w)*mu0)
}

func mcEwen(a float64) float64 {
	w := 1 - float64(0.019*a) + float64(2.42e-4*float64(a*a)) - float64(1.46e-6*float64(float64(a*a)*a))
	return max(0, w)
}

// lommelSeeliger is μ0/(μ0+μ), single scattering in a thick dark powder.
func lommelSeeliger(mu0, mu float64) float64 {
	if mu0 <= 0 {
		return 0
	}
	return mu0 / (mu0 + max(mu, 0))
}

// sunAt returns the direction of the Sun in the view's axes: phaseDeg from the
// observer's direction, limbDeg counter-clockwise from the right.
func sunAt(phaseDeg, limbDeg float64) vec {
	sa, ca := portable.Sincos(phaseDeg * degree)
	sl, cl := portable.Sincos(limbDeg * degree)
	return vec{float64(sa * cl), float64(sa * sl), ca}
}

// shine returns the radiance of every pixel, in units of normal albedo, with
// cast shadows; the disk's edge is cut by the share of a pixel that it covers.
func (r *relief) shine(ctx context.Context, phaseDeg, limbDeg float64, workers int) ([]float32, error) {
	sun := sunAt(phaseDeg, limbDeg)
	out := make([]float32, r.side*r.side)
	top := r.highest()
	err := each(ctx, workers, r.side, func(v int) error {
		if v == 0 || v == r.side-1 {
			return nil
		}
		for u := 1; u < r.side-1; u++ {
			edge := float64((1-r.beyond(float64(u), float64(v)))*r.radius) + 0.5
			if edge <= 0 {
				continue
			}
			i := v*r.side + u
			n := vec{float64(r.dirs[3*i]), float64(r.dirs[3*i+1]), float64(r.dirs[3*i+2])}
			facing := r.normal(i, n)
			mu0 := facing.dot(sun)
			if mu0 <= 0 {
				continue
			}
			lit := r.sunlight(n, sun, float64(r.height[i]), top)
			if lit == 0 {
				continue
			}
			mu := max(0.02, facing[2])
			a := float64(r.albedo[i])
			a *= 1 + float64(r.fresh[i])
			steep := 1 - facing.dot(n)
			a *= 1 + min(0.35, steep*2.2) // fresh rock lies bare on slopes
			b := float64(a*lunarLambert(mu0, mu, phaseDeg)) * lit
			out[i] = float32(b * min(1, edge))
		}
		return nil
	})
	return out, err
}

// normal is the direction that the ground faces: n minus the surface gradient of
// the height, taken from neighbouring pixels and projected on the sphere.
func (r *relief) normal(i int, n vec) vec {
	k := r.radius / (2 * moonRadiusKm)
	g := vec{
		float64(float64(r.height[i+1]-r.height[i-1]) * k),
		float64(float64(r.height[i-r.side]-r.height[i+r.side]) * k),
		0,
	}
	g = g.plus(-g.dot(n), n)
	return n.plus(-1, g).unit()
}

func (r *relief) highest() float64 {
	top := float32(0)
	for _, h := range r.height {
		top = max(top, h)
	}
	return float64(top)
}

// sunlight is the share of the Sun's disk that stands above the country seen
// from the ground at n: a march along the ray, a pixel a step, until it is above all that
// could cast a shadow.
func (r *relief) sunlight(n, sun vec, heightKm, topKm float64) float64 {
	p := n.times(1 + heightKm/moonRadiusKm)
	stride := 1 / r.radius
	clear := 1.0
	for t := 1.5; t < 400; t += 1 + float64(t*0.01) {
		s := float64(t * stride)
		q := p.plus(s, sun)
		out := q.norm()
		km := float64((out - 1) * moonRadiusKm)
		if km > topKm {
			break
		}
		if q[2] < 0 { // past the limb nothing is known
			return 0
		}
		h := r.heightAt(q.times(1 / out))
		gap := (km - h) / moonRadiusKm / s // angle by which the ray clears the ground
		clear = min(clear, 0.5+gap/(2*sunRadius))
		if clear <= 0 {
			return 0
		}
	}
	return clear
}

// heightAt samples the height of the ground at a point of the sphere, bilinearly.
func (r *relief) heightAt(q vec) float64 {
	u, v := r.pixel(q)
	x, y := math.Floor(u), math.Floor(v)
	if x < 0 || y < 0 || x >= float64(r.side-1) || y >= float64(r.side-1) {
		return 0
	}
	i := int(y)*r.side + int(x)
	fx, fy := u-x, v-y
	a := blend(float64(r.height[i]), float64(r.height[i+1]), fx)
	b := blend(float64(r.height[i+r.side]), float64(r.height[i+r.side+1]), fx)
	return blend(a, b, fy)
}
