package mosaic

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sort"
)

// candidate is a point of A that looks like one point of B and unlike the others.
type candidate struct {
	a, b  int
	ratio float64 // distance to the best over distance to the second, below one
}

// signature is a descriptor in one bit a bin and one a pair of bins: cheap to
// compare, good enough to choose whom to compare in full.
type signature [4]uint64

func signatureOf(d *[descLen]uint8) (s signature) {
	sum := 0
	for _, v := range d {
		sum += int(v)
	}
	for i, v := range d {
		if int(v)*descLen > sum {
			s[i/64] |= 1 << (i % 64)
		}
		if v > d[i&^(descTurns-1)|(i+3)%descTurns] {
			s[2+i/64] |= 1 << (i % 64)
		}
	}
	return s
}

func (s signature) differs(t signature) int {
	return bits.OnesCount64(s[0]^t[0]) + bits.OnesCount64(s[1]^t[1]) + bits.OnesCount64(s[2]^t[2]) + bits.OnesCount64(s[3]^t[3])
}

func squaredDistance(a, b *[descLen]uint8) int {
	s := 0
	for i, v := range a {
		d := int(v) - int(b[i])
		s += d * d
	}
	return s
}

// described is a panel as matching sees it.
type described struct {
	points []point
	bySize []int       // the points' numbers, smallest size first
	sizes  []float64   // theirs, in that order
	signs  []signature // and these
}

func describedOf(points []point) described {
	d := described{points, make([]int, len(points)), make([]float64, len(points)), make([]signature, len(points))}
	for i := range d.bySize {
		d.bySize[i] = i
	}
	slices.SortStableFunc(d.bySize, func(i, j int) int { return cmp.Compare(points[i].Size, points[j].Size) })
	for k, i := range d.bySize {
		d.sizes[k], d.signs[k] = points[i].Size, signatureOf(&points[i].Desc)
	}
	return d
}

// scaling says which changes of scale from panel to panel matching admits.
type scaling struct {
	least, most float64 // pixels of B to one of A
}

var (
	// oneScale is for panels through one telescope and one camera.
	oneScale = scaling{0.98, 1.02}
	// anyScale is for panels that were binned, or taken with another lens in the way.
	anyScale = scaling{0.24, 4.2}
)

// by returns the scaling between panels shrunk so that B's pixels became so many times finer than A's.
func (s scaling) by(k float64) scaling { return scaling{s.least * k, s.most * k} }

// sizeLoose is by how much the size of a point is known, a factor either way.
const sizeLoose = 1.5

// admits tells whether the size of a point of A and of one of B may be those of one place.
func (s scaling) admits(a, b float64) bool { return !s.large(a, b) && !s.small(a, b) }

// large and small tell why the size of a point of B is not that of A's.
func (s scaling) large(a, b float64) bool { return b >= float64(sizeLoose*s.most)*a }
func (s scaling) small(a, b float64) bool { return b*sizeLoose <= float64(s.least*a) }

// shortlist is with how many points, those with the likest signatures, a point is compared in full.
const shortlist = 6

// near is a point of B and in how many bits its signature differs.
type near struct{ at, far int }

// nearest fills list with the points of b whose signatures differ least from one of A of the given size, and of equals the
// first in number.
func (b *described) nearest(list []near, sign signature, size float64, scales scaling) []near {
	from := sort.Search(len(b.sizes), func(k int) bool { return !scales.small(size, b.sizes[k]) })
	to := from + sort.Search(len(b.sizes)-from, func(k int) bool { return scales.large(size, b.sizes[from+k]) })
	list = list[:0]
	worst := math.MaxInt
	at := b.bySize[from:to]
	for j, s := range b.signs[from:to] {
		far := sign.differs(s)
		if far > worst {
			continue
		}
		if list = insert(list, near{at[j], far}); len(list) == shortlist {
			worst = list[shortlist-1].far
		}
	}
	return list
}

// insert puts a point into its place in a list of at most shortlist.
func insert(list []near, c near) []near {
	if len(list) == shortlist {
		if last := list[shortlist-1]; c.far == last.far && c.at > last.at {
			return list
		}
	} else {
		list = append(list, near{})
	}
	k := len(list) - 1
	for k > 0 && (list[k-1].far > c.far || list[k-1].far == c.far && list[k-1].at > c.at) {
		list[k] = list[k-1]
		k--
	}
	list[k] = c
	return list
}

// likeness finds the candidates between two panels, best ratio first.
func likeness(a, b described, scales scaling) []candidate {
	const (
		worst = 0.85
		apart = 4 // pixels: nearer points are one place, not rivals
	)
	var out []candidate
	list := make([]near, 0, shortlist)
	signs := make([]signature, len(a.points))
	for k, i := range a.bySize {
		signs[i] = a.signs[k]
	}
	for i := range a.points {
		p := &a.points[i]
		list = b.nearest(list, signs[i], p.Size, scales)
		var square [shortlist]int
		best, first, second := -1, math.MaxInt, math.MaxInt
		for k, c := range list {
			square[k] = squaredDistance(&p.Desc, &b.points[c.at].Desc)
			if d := square[k]; d < first || d == first && c.at < best {
				best, first = c.at, d
			}
		}
		for k, c := range list {
			q, r := &b.points[c.at], &b.points[best]
			if math.Abs(q.X-r.X) >= apart || math.Abs(q.Y-r.Y) >= apart {
				second = min(second, square[k])
			}
		}
		if best < 0 || second == math.MaxInt {
			continue
		}
		if ratio := math.Sqrt(float64(first) / float64(max(second, 1))); ratio < worst {
			out = append(out, candidate{i, best, ratio})
		}
	}
	slices.SortStableFunc(out, func(x, y candidate) int { return cmp.Compare(x.ratio, y.ratio) })
	return out
}

// agreement is a similarity that many candidates share.
type agreement struct {
	Map  similarity // A to B
	Pts  []pointPair
	Size int
}

// agree finds the similarity on which most candidates agree to within tol
// pixels. Two candidates determine one, so every pair among the best is tried:
// no dice are needed (compare Fischler & Bolles 1981).
func agree(a, b []point, c []candidate, scales scaling, tol float64) (agreement, bool) {
	const (
		tried = 110
		swing = 0.45 // radians: how far two directions of one place may differ
	)
	least, most := float64(scales.least*scales.least)*0.99, float64(scales.most*scales.most)*1.01
	var best similarity
	bestN := 0
	at := func(k int) (p, q *point) { return &a[c[k].a], &b[c[k].b] }
	rivals := &rivals{a: a, b: b, c: c}
	for m := range min(tried, len(c)) {
		p1, q1 := at(m)
		for n := m + 1; n < min(tried, len(c)); n++ {
			p2, q2 := at(n)
			ux, uy, vx, vy := p2.X-p1.X, p2.Y-p1.Y, q2.X-q1.X, q2.Y-q1.Y
			u2, v2 := float64(ux*ux)+float64(uy*uy), float64(vx*vx)+float64(vy*vy)
			if min(u2, v2) < 300 || v2 > u2*most || v2 < u2*least {
				continue
			}
			if here := (scaling{math.Sqrt(v2 / u2), math.Sqrt(v2 / u2)}); !here.admits(p1.Size, q1.Size) || !here.admits(p2.Size, q2.Size) {
				continue
			}
			s := similarity{A: (float64(ux*vx) + float64(uy*vy)) / u2, B: (float64(ux*vy) - float64(uy*vx)) / u2}
			turn := s.turn()
			if math.Abs(wrap(q1.Turn-p1.Turn-turn)) > swing || math.Abs(wrap(q2.Turn-p2.Turn-turn)) > swing {
				continue
			}
			x, y := s.turned(p1.X, p1.Y)
			s.X, s.Y = q1.X-x, q1.Y-y
			if !s.bringsMore(bestN, a, b, c, tol) {
				continue
			}
			if k := len(rivals.agreeing(s, tol)); k > bestN {
				best, bestN = s, k
			}
		}
	}
	if bestN < 4 {
		return agreement{}, false
	}
	pts := rivals.pairs(best, tol)
	for range 4 {
		s, ok := fitSimilarity(pts, nil)
		if !ok {
			return agreement{}, false
		}
		best = s
		if pts = rivals.pairs(best, tol); len(pts) < 4 {
			return agreement{}, false
		}
	}
	if s := best.scale(); s < scales.least || s > scales.most {
		return agreement{}, false
	}
	return agreement{Map: best, Pts: pts, Size: len(pts)}, true
}

// bringsMore tells whether the map brings more than n candidates to within tol, each counted as often as it comes:
// quick, and most maps can be dropped for it.
func (s similarity) bringsMore(n int, a, b []point, c []candidate, tol float64) bool {
	tol2, got := tol*tol, 0
	for i, k := range c {
		if got+len(c)-i <= n {
			return false
		}
		p, q := &a[k.a], &b[k.b]
		x, y := s.at(p.X, p.Y)
		dx, dy := x-q.X, y-q.Y
		if float64(dx*dx)+float64(dy*dy) > tol2 {
			continue
		}
		if got++; got > n {
			return true
		}
	}
	return false
}

// rivals knows which candidates are one place in either panel: of these one counts at the most.
type rivals struct {
	a, b []point
	c    []candidate
	of   [][]int // of each candidate, those before it; nil until asked for
	in   []bool  // which agree
	got  []int   // their numbers
}

func (r *rivals) find() {
	r.of, r.in = make([][]int, len(r.c)), make([]bool, len(r.c))
	for i, k := range r.c {
		p, q := &r.a[k.a], &r.b[k.b]
		for j, l := range r.c[:i] {
			u, v := &r.a[l.a], &r.b[l.b]
			if math.Abs(v.X-q.X) < 1 && math.Abs(v.Y-q.Y) < 1 || math.Abs(u.X-p.X) < 1 && math.Abs(u.Y-p.Y) < 1 {
				r.of[i] = append(r.of[i], j)
			}
		}
	}
}

// agreeing returns the candidates that a map brings to within tol, each place counting once. They are good until
// the next call.
func (r *rivals) agreeing(s similarity, tol float64) []int {
	if r.of == nil {
		r.find()
	}
	out := r.got[:0]
next:
	for i, k := range r.c {
		r.in[i] = false
		p, q := &r.a[k.a], &r.b[k.b]
		x, y := s.at(p.X, p.Y)
		dx, dy := x-q.X, y-q.Y
		if float64(dx*dx)+float64(dy*dy) > tol*tol {
			continue
		}
		for _, j := range r.of[i] {
			if r.in[j] {
				continue next
			}
		}
		r.in[i] = true
		out = append(out, i)
	}
	r.got = out
	return out
}

// pairs returns the places of those that agree.
func (r *rivals) pairs(s similarity, tol float64) []pointPair {
	var out []pointPair
	for _, i := range r.agreeing(s, tol) {
		p, q := &r.a[r.c[i].a], &r.b[r.c[i].b]
		out = append(out, pointPair{p.X, p.Y, q.X, q.Y})
	}
	return out
}
