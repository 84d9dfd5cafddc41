package simulate

import "math"

// ground is a random function of place: gradient noise on a lattice of unit
// cubes (Perlin 1985, with the quintic fade of 2002), about -1…1, of mean 0.
type ground struct{ salt uint64 }

func newGround(seed uint64, which int) ground {
	return ground{salt: newDice(seed, forGround, which).src.Uint64()}
}

func fade(t float64) float64 {
	s := float64(6*t) - 15
	s = float64(s*t) + 10
	return float64(float64(float64(t*t)*t) * s)
}

// at returns the noise at p.
func (g ground) at(p vec) float64 {
	fx, fy, fz := math.Floor(p[0]), math.Floor(p[1]), math.Floor(p[2])
	x, y, z := p[0]-fx, p[1]-fy, p[2]-fz
	ix, iy, iz := int32(fx), int32(fy), int32(fz)
	u, v, w := fade(x), fade(y), fade(z)
	var c [8]float64
	for k := range c {
		dx, dy, dz := k&1, k>>1&1, k>>2
		h := g.hash(ix+int32(dx), iy+int32(dy), iz+int32(dz))
		c[k] = slope(h, x-float64(dx), y-float64(dy), z-float64(dz))
	}
	a, b := blend(c[0], c[1], u), blend(c[2], c[3], u)
	d, e := blend(c[4], c[5], u), blend(c[6], c[7], u)
	return blend(blend(a, b, v), blend(d, e, v), w)
}

func (g ground) hash(x, y, z int32) uint32 {
	h := g.salt + uint64(uint32(x))*0x9e3779b97f4a7c15 + uint64(uint32(y))*0xc2b2ae3d27d4eb4f + uint64(uint32(z))*0x165667b19e3779f9
	h = (h ^ h>>29) * 0xbf58476d1ce4e5b9
	return uint32(h >> 40)
}

// slope is the dot product of (x, y, z) with one of twelve directions, those of
// a cube's edges.
func slope(h uint32, x, y, z float64) float64 {
	a, b := x, y
	switch h % 3 {
	case 1:
		a, b = x, z
	case 2:
		a, b = y, z
	}
	h >>= 8
	if h&1 != 0 {
		a = -a
	}
	if h&2 != 0 {
		b = -b
	}
	return a + b
}

// sum adds octaves of noise, each twice as fine as the one before and gain
// times as strong; freq is the coarsest, in cells a lunar radius.
func (g ground) sum(p vec, freq float64, octaves int, gain float64) float64 {
	total, k := 0.0, 1.0
	q := p.times(freq)
	for range octaves {
		total += float64(k * g.at(q))
		k *= gain
		q = vec{float64(2*q[0]) + 17.3, float64(2*q[1]) - 9.1, float64(2*q[2]) + 4.7}
	}
	return total
}

// ridges is like sum with sharp crests, 0…1.
func (g ground) ridges(p vec, freq float64, octaves int) float64 {
	total, k, all := 0.0, 1.0, 0.0
	q := p.times(freq)
	for range octaves {
		r := 1 - float64(math.Abs(g.at(q))*1.4)
		total += float64(k * float64(r*max(r, 0)))
		all += k
		k *= 0.5
		q = vec{float64(2*q[0]) + 3.1, float64(2*q[1]) + 8.7, float64(2*q[2]) - 6.3}
	}
	return max(0, total/all)
}
