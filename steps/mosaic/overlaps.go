package mosaic

import "math"

// measured is what the windows of one overlap said, and of which map between its panels.
type measured struct {
	ties []tie
	toB  similarity // A's pixels to B's, as the panels lay then
}

// measureOverlaps replaces the ties by windows in every overlap of placed panels. With again, the bands are those of the
// round before, and an overlap that would be cut as it was keeps its ties.
func (n *network) measureOverlaps(ps []band, o windowing, again bool, each eachFunc) error {
	m := n.maps()
	var pairs [][2]int
	for j := range ps {
		for i := range j {
			if n.in[i] && n.in[j] {
				pairs = append(pairs, [2]int{i, j})
			}
		}
	}
	found := make([]measured, len(pairs))
	err := each(len(pairs), func(k int) error {
		i, j := pairs[k][0], pairs[k][1]
		if f, ok := n.overlaps[pairs[k]]; ok && again && n.asItWas(i, j, m, f.toB) {
			found[k] = f
			return nil
		}
		if s, ok := overlay(ps[i], ps[j], m[i], m[j]); ok {
			found[k].ties = s.ties(i, j, m[i], m[j], o.apart(ps[i], ps[j]), panelBend*math.Sqrt2)
		}
		found[k].toB = m[j].inverse().after(m[i])
		return nil
	})
	n.ties = nil
	n.overlaps = make(map[[2]int]measured, len(pairs))
	for k, f := range found {
		n.ties = append(n.ties, f.ties...)
		n.overlaps[pairs[k]] = f
	}
	return err
}

// settled is how far, in pixels, panels may move against each other before windows must be cut anew.
const settled = 0.02

// asItWas tells whether panel i lies on panel j, wherever they overlap, as under an earlier map.
func (n *network) asItWas(i, j int, m []similarity, before similarity) bool {
	now := m[j].inverse().after(m[i])
	x0, y0, x1, y1 := overlapOf(m[i], m[j], [2]int{n.w[i], n.h[i]}, [2]int{n.w[j], n.h[j]})
	toI := m[i].inverse()
	for _, c := range [4][2]float64{{x0, y0}, {x1, y0}, {x0, y1}, {x1, y1}} {
		u, v := toI.at(c[0], c[1])
		x, y := now.at(u, v)
		p, q := before.at(u, v)
		if max(math.Abs(x-p), math.Abs(y-q)) >= settled {
			return false
		}
	}
	return true
}

// overlapOf is the part of the mosaic that two panels' bounds share; it may be empty, the first corner beyond the second.
func overlapOf(mp, mq similarity, p, q [2]int) (x0, y0, x1, y1 float64) {
	ax0, ay0, ax1, ay1 := bounds(mp, p[0], p[1])
	bx0, by0, bx1, by1 := bounds(mq, q[0], q[1])
	return max(ax0, bx0), max(ay0, by0), min(ax1, bx1), min(ay1, by1)
}
