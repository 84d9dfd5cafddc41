package mosaic

import "math"

// small is a panel's evened picture at matching scale.
type small struct {
	w, h    int
	v, mask []float32
}

// likenessOver returns the correlation of two evened panels where they overlap
// under the map from A to B, and the number of pixels compared. Every second
// pixel of every second row is looked at.
func likenessOver(a, b small, toB similarity) (ncc float64, n int) {
	var sa, sb, saa, sbb, sab float64
	for y := 0; y < a.h; y += 2 {
		for x := 0; x < a.w; x += 2 {
			i := y*a.w + x
			if a.mask[i] == 0 {
				continue
			}
			q, ok := b.linear(toB.at(float64(x), float64(y)))
			if !ok {
				continue
			}
			p := float64(a.v[i])
			n++
			sa += p
			sb += q
			saa += float64(p * p)
			sbb += float64(q * q)
			sab += float64(p * q)
		}
	}
	if n == 0 {
		return 0, 0
	}
	k := float64(n)
	va, vb := saa-float64(sa*sa)/k, sbb-float64(sb*sb)/k
	if va <= 0 || vb <= 0 {
		return 0, n
	}
	return (sab - float64(sa*sb)/k) / math.Sqrt(va*vb), n
}

// linear interpolates; ok is false outside and beside holes.
func (s small) linear(x, y float64) (v float64, ok bool) {
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int(fx), int(fy)
	if ix < 0 || iy < 0 || ix+1 >= s.w || iy+1 >= s.h {
		return 0, false
	}
	i := iy*s.w + ix
	if s.mask[i] == 0 || s.mask[i+1] == 0 || s.mask[i+s.w] == 0 || s.mask[i+s.w+1] == 0 {
		return 0, false
	}
	dx, dy := float32(x-fx), float32(y-fy)
	top := s.v[i] + float32(dx*(s.v[i+1]-s.v[i]))
	low := s.v[i+s.w] + float32(dx*(s.v[i+s.w+1]-s.v[i+s.w]))
	return float64(top + float32(dy*(low-top))), true
}
