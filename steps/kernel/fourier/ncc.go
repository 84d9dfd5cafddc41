package fourier

import (
	"math"
	"sort"
)

// Masked is a picture with holes, ready to be correlated with others at every
// shift.
type Masked struct {
	plan                   *Real
	w, h                   int
	count                  float64 // pixels with data
	value, square, present spectrum
}

type spectrum struct{ re, im []float32 }

// NewMasked prepares a picture of w by h pixels; NaNs are pixels without data. The
// plan must be at least as wide and high as the two pictures to be compared
// together, less one: Good(w₁+w₂-1) by Good(h₁+h₂-1).
func NewMasked(plan *Real, img []float32, w, h int) *Masked {
	pw, ph := plan.Size()
	if len(img) != w*h || w > pw || h > ph {
		panic("fourier: a picture of another size than stated, or larger than its plan")
	}
	m := &Masked{plan: plan, w: w, h: h}
	// Near its mean a picture's squares lose least in single precision.
	mean := average(img, nil)
	padded := make([]float32, pw*ph)
	transform := func(of func(v float32) float32) spectrum {
		clear(padded)
		for y := range h {
			for x, v := range img[y*w:][:w] {
				if v == v {
					padded[y*pw+x] = of(v - mean)
				}
			}
		}
		n := plan.Half() * ph
		s := spectrum{make([]float32, n), make([]float32, n)}
		plan.Forward(padded, s.re, s.im)
		return s
	}
	m.value = transform(func(v float32) float32 { return v })
	m.square = transform(func(v float32) float32 { return v * v })
	m.present = transform(func(float32) float32 { return 1 })
	for _, v := range img {
		if v == v {
			m.count++
		}
	}
	return m
}

// Surface holds the correlation of two pictures at every whole shift: entry
// (i, j) belongs to the shift dx = X0+i, dy = Y0+j.
type Surface struct {
	W, H, X0, Y0 int
	// NCC is the correlation coefficient over the pixels that both have at that
	// shift, -1…1; 0 where they have too little in common to tell.
	NCC []float32
	// Overlap is the share, 0…1, of the pixels of the picture that has fewer that
	// lies on pixels of the other.
	Overlap []float32
}

// Match is a peak of a Surface: the second picture's content lies at +DX, +DY
// pixels against the first.
type Match struct {
	DX, DY       float64
	NCC, Overlap float64
}

// MaskedNCC returns the normalised cross-correlation of two pictures with holes,
// NaNs being pixels without data, at every shift that lets them touch (Padfield
// 2012, IEEE Trans. Image Process. 21:2706, eqs. 23–40). The brightness of the
// two may differ by a factor and an offset. To compare more than two, use
// NewMasked and NCC.
func MaskedNCC(a []float32, aw, ah int, b []float32, bw, bh int) *Surface {
	plan := NewReal(Good(aw+bw-1), Good(ah+bh-1))
	return NCC(NewMasked(plan, a, aw, ah), NewMasked(plan, b, bw, bh))
}

// NCC returns the correlation of b against a, as MaskedNCC; both must come of one
// plan.
func NCC(a, b *Masked) *Surface {
	pw, ph := a.plan.Size()
	if a.plan != b.plan || a.w+b.w-1 > pw || a.h+b.h-1 > ph {
		panic("fourier: two pictures of different plans, or too large for theirs")
	}
	n := a.plan.Half() * ph
	tmp := spectrum{make([]float32, n), make([]float32, n)}
	cross := func(x, y spectrum) []float32 {
		for i := range tmp.re {
			tmp.re[i] = float32(x.re[i]*y.re[i]) + float32(x.im[i]*y.im[i])
			tmp.im[i] = float32(x.re[i]*y.im[i]) - float32(x.im[i]*y.re[i])
		}
		out := make([]float32, pw*ph)
		a.plan.Inverse(out, tmp.re, tmp.im)
		return out
	}
	s := sums{
		n: cross(a.present, b.present), ab: cross(a.value, b.value),
		a: cross(a.value, b.present), aa: cross(a.square, b.present),
		b: cross(a.present, b.value), bb: cross(a.present, b.square),
	}
	return s.surface(a, b)
}

// sums are over the pixels in common, at every circular shift.
type sums struct{ n, a, b, aa, bb, ab []float32 }

// noiseFloor is the share of the largest variance found at any shift below which
// a variance is taken for rounding of the single-precision transforms.
const noiseFloor = 1e-4

func (s *sums) surface(a, b *Masked) *Surface {
	pw, ph := a.plan.Size()
	out := &Surface{W: a.w + b.w - 1, H: a.h + b.h - 1, X0: 1 - a.w, Y0: 1 - a.h}
	out.NCC, out.Overlap = make([]float32, out.W*out.H), make([]float32, out.W*out.H)
	// Variances take the place of the sums of squares, covariances of products.
	var topA, topB float32
	for i, n := range s.n {
		if n = float32(math.Round(float64(n))); n < 1 {
			s.n[i] = 0
			continue
		}
		s.n[i] = n
		s.aa[i] -= float32(s.a[i]*s.a[i]) / n
		s.bb[i] -= float32(s.b[i]*s.b[i]) / n
		s.ab[i] -= float32(s.a[i]*s.b[i]) / n
		topA, topB = max(topA, s.aa[i]), max(topB, s.bb[i])
	}
	fewer := float32(min(a.count, b.count))
	for j := range out.H {
		for i := range out.W {
			k := mod(out.Y0+j, ph)*pw + mod(out.X0+i, pw)
			if s.n[k] == 0 {
				continue
			}
			o := j*out.W + i
			out.Overlap[o] = min(s.n[k]/fewer, 1)
			if s.n[k] < 3 || !(s.aa[k] > noiseFloor*topA) || !(s.bb[k] > noiseFloor*topB) {
				continue
			}
			r := float64(s.ab[k]) / math.Sqrt(float64(s.aa[k])*float64(s.bb[k]))
			out.NCC[o] = float32(min(max(r, -1), 1))
		}
	}
	return out
}

// Peaks returns up to n of the highest local maxima where the overlap is at least
// minOverlap, best first, none nearer than apart pixels to a better one. Their
// places are refined by a parabola along each axis.
func (s *Surface) Peaks(n int, minOverlap, apart float64) []Match {
	var at []int
	for j := range s.H {
		for i := range s.W {
			k := j*s.W + i
			if float64(s.Overlap[k]) >= minOverlap && s.NCC[k] > 0 && s.isTop(i, j) {
				at = append(at, k)
			}
		}
	}
	sort.Slice(at, func(x, y int) bool {
		if a, b := s.NCC[at[x]], s.NCC[at[y]]; a != b {
			return a > b
		}
		return at[x] < at[y]
	})
	var out []Match
	for _, k := range at {
		m := s.match(k%s.W, k/s.W)
		near := false
		for _, o := range out {
			dx, dy := m.DX-o.DX, m.DY-o.DY
			near = near || float64(dx*dx)+float64(dy*dy) < float64(apart*apart)
		}
		if near {
			continue
		}
		if out = append(out, m); len(out) >= n {
			break
		}
	}
	return out
}

// isTop tells whether no neighbour is higher.
func (s *Surface) isTop(i, j int) bool {
	v := s.NCC[j*s.W+i]
	for y := max(j-1, 0); y <= min(j+1, s.H-1); y++ {
		for x := max(i-1, 0); x <= min(i+1, s.W-1); x++ {
			if s.NCC[y*s.W+x] > v {
				return false
			}
		}
	}
	return true
}

func (s *Surface) match(i, j int) Match {
	k := j*s.W + i
	m := Match{
		DX: float64(s.X0 + i), DY: float64(s.Y0 + j),
		NCC: float64(s.NCC[k]), Overlap: float64(s.Overlap[k]),
	}
	if i > 0 && i < s.W-1 {
		m.DX += Parabola(float64(s.NCC[k-1]), m.NCC, float64(s.NCC[k+1]))
	}
	if j > 0 && j < s.H-1 {
		m.DY += Parabola(float64(s.NCC[k-s.W]), m.NCC, float64(s.NCC[k+s.W]))
	}
	return m
}

// Parabola returns where the parabola through three values, one apart, has its
// top, from the middle one: -½…½ if the middle is the highest, and 0 if the three
// lie on a line or in a trough. On logarithms it is exact for a Gaussian.
func Parabola(before, middle, after float64) float64 {
	bend := (before - middle) + (after - middle)
	if !(bend < 0) {
		return 0
	}
	return 0.5 * (before - after) / bend
}
