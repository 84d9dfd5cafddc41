package mosaic

import (
	"math"
	"slices"

	"plenilune/steps/kernel/portable"
)

const (
	descCells = 4
	descTurns = 8
	descLen   = descCells * descCells * descTurns
)

// point is one describable place of a panel.
type point struct {
	X, Y float64 // panel pixels
	Size float64 // blur at which it stands out, panel pixels
	Turn float64 // direction of its gradients, radians
	Desc [descLen]uint8
}

// slope is the gradient of one picture of the scale space, as length and direction.
type slope struct{ length, turn []float32 }

func slopeOf(v []float32, w, h int) slope {
	s := slope{make([]float32, w*h), make([]float32, w*h)}
	for y := 1; y+1 < h; y++ {
		for x := 1; x+1 < w; x++ {
			i := y*w + x
			dx, dy := float64(v[i+1]-v[i-1]), float64(v[i+w]-v[i-w])
			s.length[i] = float32(math.Sqrt(float64(dx*dx) + float64(dy*dy)))
			s.turn[i] = direction(float32(dy), float32(dx))
		}
	}
	return s
}

// direction is the angle of a vector to within 2·10⁻⁵ radians, −π…π: histograms of eight or 36 bins need no more. The
// polynomial for tangents up to one is that of Abramowitz & Stegun 1964, 4.4.49.
func direction(y, x float32) float32 {
	ax, ay := max(x, -x), max(y, -y)
	large := max(ax, ay)
	if large == 0 {
		return 0
	}
	z := min(ax, ay) / large
	q := float32(z * z)
	p := float32(0.0208351*q) - 0.0851330
	p = float32(p*q) + 0.1801410
	p = float32(p*q) - 0.3302995
	p = float32(p*q) + 0.9998660
	a := float32(z * p)
	if ay > ax {
		a = math.Pi/2 - a
	}
	if x < 0 {
		a = math.Pi - a
	}
	if y < 0 {
		a = -a
	}
	return a
}

// pointsOf finds and describes the points of an evened picture, the strongest
// most ones spread over a grid of cells, in a fixed order.
func pointsOf(v, mask []float32, w, h, most int) []point {
	type found struct {
		point
		strength float64
	}
	var all []found
	for _, o := range scaleSpace(v, mask, w, h) {
		slopes := map[int]slope{}
		for _, s := range o.spots() {
			if _, ok := slopes[s.near]; !ok {
				slopes[s.near] = slopeOf(o.image[s.near], o.w, o.h)
			}
			g := slopes[s.near]
			size := sigmaOf(s.level)
			for _, turn := range g.turns(s.x, s.y, size, o.w, o.h) {
				p := point{X: s.x * o.step, Y: s.y * o.step, Size: size * o.step, Turn: turn}
				g.describe(&p.Desc, s.x, s.y, size, turn, o.w, o.h)
				all = append(all, found{p, s.strength})
			}
		}
	}
	// The strongest of every cell first, so that a rich corner does not use up the lot.
	const cell = 40
	rank := make([]int, len(all))
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case all[a].strength > all[b].strength:
			return -1
		case all[a].strength < all[b].strength:
			return 1
		}
		return 0
	})
	count := map[[2]int]int{}
	for _, i := range order {
		c := [2]int{int(all[i].X) / cell, int(all[i].Y) / cell}
		rank[i] = count[c]
		count[c]++
	}
	slices.SortStableFunc(order, func(a, b int) int { return rank[a] - rank[b] })
	var out []point
	for _, i := range order[:min(most, len(order))] {
		out = append(out, all[i].point)
	}
	return out
}

// turns returns the directions in which most gradients around a place point:
// the peak of a histogram of 36 and every other peak over 0.8 of it.
func (s slope) turns(x, y, size float64, w, h int) []float64 {
	const bins = 36
	var hist [bins]float64
	sigma := 1.5 * size
	r := int(math.Round(3 * sigma))
	cx, cy := int(math.Round(x)), int(math.Round(y))
	for j := max(1, cy-r); j <= min(h-2, cy+r); j++ {
		for i := max(1, cx-r); i <= min(w-2, cx+r); i++ {
			dx, dy := float64(i)-x, float64(j)-y
			d2 := float64(dx*dx) + float64(dy*dy)
			if d2 > 9*sigma*sigma {
				continue
			}
			k := j*w + i
			b := int(math.Round(float64(s.turn[k]) * bins / (2 * math.Pi)))
			hist[(b+bins)%bins] += float64(float64(s.length[k]) * quickGauss(d2/(sigma*sigma)))
		}
	}
	for range 2 {
		last := hist
		for b := range hist {
			hist[b] = (last[(b+bins-1)%bins] + last[b] + last[(b+1)%bins]) / 3
		}
	}
	top := slices.Max(hist[:])
	if top == 0 {
		return nil
	}
	var out []float64
	for b, v := range hist {
		l, r := hist[(b+bins-1)%bins], hist[(b+1)%bins]
		if v < 0.8*top || v <= l || v < r {
			continue
		}
		at := float64(b) + (l-r)/float64(2*(l-float64(2*v)+r))
		out = append(out, wrap(at*2*math.Pi/bins))
	}
	return out
}

// quickGauss is exp(−u/2) to some per cent: (1 − u/16)⁸, for u in 0…16.
func quickGauss(u float64) float64 {
	v := max(0, 1-float64(u/16))
	v *= v
	v *= v
	return v * v
}

// describe fills d with histograms of gradient directions in 4×4 cells of
// 3·size pixels, turned with the place (Lowe 2004, section 6).
func (s slope) describe(d *[descLen]uint8, x, y, size, turn float64, w, h int) {
	var hist [descLen]float32
	sin, cos := portable.Sincos(turn)
	cell := 3 * size
	r := int(math.Round(cell * math.Sqrt2 * (descCells + 1) / 2))
	cx, cy := int(math.Round(x)), int(math.Round(y))
	for j := max(1, cy-r); j <= min(h-2, cy+r); j++ {
		for i := max(1, cx-r); i <= min(w-2, cx+r); i++ {
			dx, dy := float64(i)-x, float64(j)-y
			u := (float64(cos*dx) + float64(sin*dy)) / cell
			v := (float64(cos*dy) - float64(sin*dx)) / cell
			bu, bv := u+descCells/2-0.5, v+descCells/2-0.5
			if bu <= -1 || bu >= descCells || bv <= -1 || bv >= descCells {
				continue
			}
			k := j*w + i
			weight := float64(s.length[k]) * quickGauss((float64(u*u)+float64(v*v))/(descCells*descCells/4))
			t := (float64(s.turn[k]) - turn) * descTurns / (2 * math.Pi)
			t -= float64(descTurns * math.Floor(t/descTurns))
			spread(&hist, bu, bv, t, float32(weight))
		}
	}
	quantise(d, &hist)
}

// spread shares one gradient out among the eight nearest bins.
func spread(hist *[descLen]float32, bu, bv, t float64, weight float32) {
	u0, v0, t0 := math.Floor(bu), math.Floor(bv), math.Floor(t)
	fu, fv, ft := float32(bu-u0), float32(bv-v0), float32(t-t0)
	for a := range 2 {
		v := int(v0) + a
		if v < 0 || v >= descCells {
			continue
		}
		wv := weight * share(fv, a)
		for b := range 2 {
			u := int(u0) + b
			if u < 0 || u >= descCells {
				continue
			}
			wu := wv * share(fu, b)
			k := (v*descCells + u) * descTurns
			for c := range 2 {
				hist[k+(int(t0)+c)%descTurns] += float32(wu * share(ft, c))
			}
		}
	}
}

func share(f float32, far int) float32 {
	if far == 1 {
		return f
	}
	return 1 - f
}

// quantise brings a histogram to unit length, holds single bins at 0.2 so that
// one strong edge does not rule it, and stores it in bytes.
func quantise(d *[descLen]uint8, hist *[descLen]float32) {
	for range 2 {
		n := float32(0)
		for _, v := range hist {
			n += float32(v * v)
		}
		n = float32(math.Sqrt(float64(n)))
		if n == 0 {
			return
		}
		for i := range hist {
			hist[i] = min(hist[i]/n, 0.2)
		}
	}
	for i, v := range hist {
		d[i] = uint8(min(255, 512*v))
	}
}
