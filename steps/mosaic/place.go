package mosaic

import (
	"cmp"
	"math"
	"slices"
)

// seen is what the features part says of one panel.
type seen struct {
	W, H   int
	Reduce int // panel pixels a pixel of matching scale
	Tones  tonalRange
	Points []point // in pixels of matching scale
	Brinks []brink // in panel pixels
}

// sights is what is seen of all panels.
type sights []seen

// shows is how much a panel shows: its points, and something if there are none but it is not empty.
func (s sights) shows(i int) int {
	if s[i].Tones.empty() {
		return 0
	}
	return 1 + len(s[i].Points)
}

// linkPanels matches all pairs of panels; each calls its function for 0…n−1, several at once.
func linkPanels(s []seen, even []small, each eachFunc) ([]link, error) {
	var pairs [][2]int
	for i := range s {
		for j := range i {
			pairs = append(pairs, [2]int{j, i})
		}
	}
	return linkPairs(s, even, pairs, oneScale, each)
}

// linkPairs matches pairs of panels that may differ in scale by so much.
func linkPairs(s []seen, even []small, pairs [][2]int, scales scaling, each eachFunc) ([]link, error) {
	d := make([]described, len(s))
	for i := range s {
		d[i] = describedOf(s[i].Points)
	}
	found := make([]*link, len(pairs))
	err := each(len(pairs), func(k int) error {
		i, j := pairs[k][0], pairs[k][1]
		// a pixel of either at matching scale may be several of the panel's
		reduced := scales.by(float64(s[i].Reduce) / float64(s[j].Reduce))
		a, ok := agree(d[i].points, d[j].points, likeness(d[i], d[j], reduced), reduced, 3)
		if !ok {
			return nil
		}
		ncc, n := likenessOver(even[i], even[j], a.Map)
		if n < 150 || ncc < leastLikeness(a.Size) {
			return nil
		}
		found[k] = scaledLink(link{A: i, B: j, Map: a.Map, Pts: a.Pts, NCC: ncc}, s[i].Reduce, s[j].Reduce)
		return nil
	})
	var out []link
	for _, l := range found {
		if l != nil {
			out = append(out, *l)
		}
	}
	return out, err
}

// leastLikeness is how well two panels must correlate under a map that size points agree on: few points may
// agree by chance, many hardly.
func leastLikeness(size int) float64 {
	switch {
	case size >= 10:
		return 0.25
	case size >= 6:
		return 0.4
	}
	return 0.65
}

// scaledLink brings a link from matching scale to panel pixels.
func scaledLink(l link, fa, fb int) *link {
	up := func(v float64, f int) float64 { return float64(v*float64(f)) + float64(float64(f-1)/2) }
	for i, p := range l.Pts {
		l.Pts[i] = pointPair{up(p.AX, fa), up(p.AY, fa), up(p.BX, fb), up(p.BY, fb)}
	}
	ra := similarity{A: float64(fa), X: float64(fa-1) / 2, Y: float64(fa-1) / 2}
	rb := similarity{A: float64(fb), X: float64(fb-1) / 2, Y: float64(fb-1) / 2}
	l.Map = rb.after(l.Map).after(ra.inverse())
	return &l
}

// placeByLinks solves the largest connected group and votes out links that contradict the rest.
func (n *network) placeByLinks(links []link, s sights) (kept []link, anchor int, err error) {
	kept = slices.Clone(links)
	for {
		of := groups(len(n.poses), kept)
		group := largest(of, s.shows)
		clear(n.in)
		anchor = n.chain(kept, of, group)
		n.ties = nil
		for _, l := range kept {
			for _, p := range l.Pts {
				n.ties = append(n.ties, tie{A: l.A, B: l.B, AX: p.AX, AY: p.AY, BX: p.BX, BY: p.BY, Info: [3]float64{1, 0, 1}, Points: true})
			}
		}
		if err := n.settle(anchor, 8); err != nil {
			return kept, anchor, err
		}
		worst, at := 4.0, -1
		m := n.maps()
		for k, l := range kept {
			if !n.in[l.A] || !n.in[l.B] {
				continue
			}
			var d []float64
			for _, p := range l.Pts {
				x, y := (tie{A: l.A, B: l.B, AX: p.AX, AY: p.AY, BX: p.BX, BY: p.BY}).residual(m)
				d = append(d, math.Sqrt(float64(x*x)+float64(y*y)))
			}
			slices.Sort(d)
			// Weak links go first: a wrong one has few points.
			if v := d[len(d)/2]; v > worst {
				worst, at = v, k
			}
		}
		if at < 0 {
			return kept, anchor, nil
		}
		kept = slices.Delete(kept, at, at+1)
	}
}

// panelBend is how far, in pixels, a stack typically lies off within its panel: what the air leaves after
// averaging some tens of frames. One standard deviation a direction.
const panelBend = 0.25

// findLimb looks for the Moon's circle among the brinks of all placed panels.
func (n *network) findLimb(s []seen, tol float64) {
	m := n.maps()
	var all []brink
	for i := range s {
		if !n.in[i] {
			continue
		}
		for _, b := range s[i].Brinks {
			x, y := m[i].at(b.X, b.Y)
			nx, ny := m[i].turned(b.NX, b.NY)
			k := m[i].scale()
			all = append(all, brink{x, y, nx / k, ny / k})
		}
	}
	side := 0.0
	for i := range s {
		side = max(side, float64(max(s[i].W, s[i].H)))
	}
	n.limb = circle{}
	const most = 3000
	if len(all) > most {
		slices.SortStableFunc(all, func(a, b brink) int { return cmp.Compare(a.Y, b.Y) })
		thin := make([]brink, most)
		for k := range thin {
			thin[k] = all[k*len(all)/most]
		}
		all = thin
	}
	c, support := findCircle(all, 60, 40*side, tol)
	if support < max(30, len(all)/8) {
		return
	}
	n.limb = c.refine(all, 2*tol)
	var seen arc
	for _, b := range all {
		if n.limb.holds(b, tol) {
			seen.mark(b.X-n.limb.X, b.Y-n.limb.Y)
		}
	}
	n.arc = seen.degrees()
}

// rimStep is how far apart rims are measured along the limb, in pixels.
const rimStep = 6

// measureLimb replaces the rims by new ones along the circle.
func (n *network) measureLimb(ps []panel, s []seen) {
	n.rims = nil
	if !n.limb.Found {
		return
	}
	m := n.maps()
	relief := limbRelief * n.limb.R
	sigma := math.Sqrt(panelBend*panelBend + float64(relief*relief))
	for i := range ps {
		if !n.in[i] {
			continue
		}
		for _, r := range rimsOf(n.globe(i).panel(ps[i]), m[i], n.limb, s[i].Tones, rimStep) {
			r.Panel, r.Sigma = i, sigma
			n.rims = append(n.rims, r)
		}
	}
}
