package solve

import (
	"errors"
	"math"
)

// Similarity is x' = Scale·(cos·x - sin·y) + TX, y' = Scale·(sin·x + cos·y) + TY.
type Similarity struct {
	Scale    float64
	Cos, Sin float64
	TX, TY   float64
	RMS      float64 // root of the weighted mean squared distance left over
}

// Umeyama returns the similarity that takes the points from nearest to the
// points to in the least-squares sense, never a mirror image (Umeyama 1991, PAMI
// 13:376, eqs. 40–42; in the plane the rotation has the closed form used here).
// Points are x, y pairs one after the other; weights, one a point, may be nil.
func Umeyama(from, to, weights []float64) (Similarity, error) {
	n := len(from) / 2
	if len(from) != len(to) || len(from)%2 != 0 || (weights != nil && len(weights) != n) {
		panic("solve: Umeyama needs as many points on both sides, and a weight each or none")
	}
	m := moments(from, to, weights)
	if m.weight <= 0 || m.from <= 0 {
		return Similarity{}, errors.New("solve: a similarity needs two or more distinct points")
	}
	size := math.Sqrt(float64(m.dot*m.dot) + float64(m.cross*m.cross))
	s := Similarity{Scale: size / m.from, Cos: 1}
	if size > 0 {
		s.Cos, s.Sin = m.dot/size, m.cross/size
	}
	a, b := float64(s.Scale*s.Cos), float64(s.Scale*s.Sin)
	s.TX = m.tx - (float64(a*m.fx) - float64(b*m.fy))
	s.TY = m.ty - (float64(b*m.fx) + float64(a*m.fy))
	sum := 0.0
	for i := range n {
		x, y := s.Apply(from[2*i], from[2*i+1])
		dx, dy := to[2*i]-x, to[2*i+1]-y
		sum += float64(weightOf(weights, i) * (float64(dx*dx) + float64(dy*dy)))
	}
	s.RMS = math.Sqrt(sum / m.weight)
	return s, nil
}

// Apply returns where s takes (x, y).
func (s Similarity) Apply(x, y float64) (float64, float64) {
	return float64(s.Scale*(float64(s.Cos*x)-float64(s.Sin*y))) + s.TX,
		float64(s.Scale*(float64(s.Sin*x)+float64(s.Cos*y))) + s.TY
}

// pointMoments are the weighted means and central second moments of point pairs.
type pointMoments struct {
	weight, fx, fy, tx, ty float64
	from, dot, cross       float64
}

func moments(from, to, weights []float64) (m pointMoments) {
	n := len(from) / 2
	for i := range n {
		w := weightOf(weights, i)
		m.weight += w
		m.fx += float64(w * from[2*i])
		m.fy += float64(w * from[2*i+1])
		m.tx += float64(w * to[2*i])
		m.ty += float64(w * to[2*i+1])
	}
	if m.weight <= 0 {
		return m
	}
	m.fx, m.fy, m.tx, m.ty = m.fx/m.weight, m.fy/m.weight, m.tx/m.weight, m.ty/m.weight
	for i := range n {
		w := weightOf(weights, i)
		x, y := from[2*i]-m.fx, from[2*i+1]-m.fy
		u, v := to[2*i]-m.tx, to[2*i+1]-m.ty
		m.from += float64(w * (float64(x*x) + float64(y*y)))
		m.dot += float64(w * (float64(x*u) + float64(y*v)))
		m.cross += float64(w * (float64(x*v) - float64(y*u)))
	}
	return m
}

func weightOf(w []float64, i int) float64 {
	if w == nil {
		return 1
	}
	return w[i]
}
