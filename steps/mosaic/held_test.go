package mosaic

import (
	"math"
	"testing"
)

// Two groups of panels that share a strip of some 26 px of 200, turned against each other, lie where they should: six panels in two
// blocks of three.
func TestNarrowStripHolds(t *testing.T) {
	grounds := uint64(3)
	if testing.Short() {
		grounds = 1
	}
	for seed := range grounds {
		g := newGround(20+seed, 460, 420, 3500)
		var shots []shot
		for k := range 6 {
			s := shot{w: 200, h: 160, ragged: true, gain: 1, pose: pose{X: 110, Y: 90 + 118*float64(k%3), Turn: 0.4 * deg * float64(k%3), Scale: 1}}
			if k >= 3 {
				s.pose.X += 174
				s.pose.Turn -= 0.7 * deg
			}
			shots = append(shots, s)
		}
		n := join(t, g, shots, 2)
		for i, p := range n.geometry.Panels {
			if !p.Placed {
				t.Fatalf("ground %d: panel %d is not placed", seed, i)
			}
		}
		// Windows in the strip lie within half of what bends panels, 0.18 px; of a dozen of them along 400 px, three standard
		// deviations of the turn move a block's far side, 180 px away, by 0.25 px.
		if _, worst := n.toGround(); worst > 0.3 {
			t.Errorf("ground %d: panels lie %.2f px off, want at most 0.3", seed, worst)
		}
	}
}

// Where windows say nothing, the points that linked two panels hold them; where they say enough, points are not asked.
func TestPointsHoldWhatWindowsDoNot(t *testing.T) {
	truth := pose{X: 150, Y: 4, Turn: 1 * deg, Scale: 1}
	n := &network{w: []int{200, 200}, h: []int{160, 160}, in: []bool{true, true}, poses: []pose{{Scale: 1}, {X: 158, Y: 9, Turn: 4 * deg, Scale: 1}}}
	toB := truth.of(200, 160).inverse().after(pose{Scale: 1}.of(200, 160))
	l := link{A: 0, B: 1, sigma: 1.5}
	for k := range 6 {
		x, y := 170+float64(7*k%23), 10+float64(29*k)
		u, v := toB.at(x, y)
		l.Pts = append(l.Pts, pointPair{x, y, u, v})
	}
	n.links = []link{l}
	for windows := range fewWindows + 1 {
		n.ties, n.overlaps = nil, map[[2]int]measured{{0, 1}: {ties: make([]tie, windows)}}
		if n.tieByLinks(); (len(n.ties) > 0) != (windows < fewWindows) {
			t.Errorf("beside %d windows there are %d ties of points", windows, len(n.ties))
		}
	}
	n.overlaps = nil
	n.tieByLinks()
	if err := n.settle(0, 10); err != nil {
		t.Fatal(err)
	}
	if p := n.poses[1]; math.Hypot(p.X-truth.X, p.Y-truth.Y) > 1e-3 || math.Abs(p.Turn-truth.Turn) > 1e-5 {
		t.Errorf("the panel came to rest at %+v, not %+v", p, truth)
	}
	n.in[1] = false
	n.ties = nil
	if n.tieByLinks(); len(n.ties) > 0 {
		t.Error("a panel that is not placed is tied")
	}
}

// Windows are found in an overlap of any width from the least window's on, whatever the stride, and tell the shift.
func TestWindowsInStripsOfAnyWidth(t *testing.T) {
	g := newGround(31, 200, 260, 3000)
	a := shot{w: 100, h: 220, gain: 1, pose: pose{X: 60, Y: 130, Scale: 1}}
	seen := func(s shot, seed uint64) band {
		p := s.take(g, seed)
		return bandOf(panel{p.W, p.H, p.Pix[0]})
	}
	fixed, ma := seen(a, 0), a.pose.of(a.w, a.h)
	step := 3
	if testing.Short() {
		step = 23
	}
	for width := 28; width <= 100; width += step {
		b := a
		b.pose.X += float64(100 - width)
		mb := b.pose.of(b.w, b.h)
		s, ok := overlay(fixed, seen(b, 1), ma, mb)
		if !ok {
			t.Fatalf("%d px of overlap: nothing is shared", width)
		}
		for _, stride := range []int{20, 48} {
			ties := s.ties(0, 1, ma, mb, windowing{40, stride, 2}, panelBend)
			if len(ties) < fewWindows {
				t.Errorf("%d px of overlap, windows %d px apart: %d windows, want at least %d", width, stride, len(ties), fewWindows)
			}
			for _, tie := range ties {
				if x, y := tie.residual([]similarity{ma, mb}); math.Hypot(x, y) > panelBend*math.Sqrt2/2 { // half of what lies between two bent panels
					t.Errorf("%d px of overlap, windows %d px apart: one lies %.2f px off", width, stride, math.Hypot(x, y))
				}
			}
		}
	}
}
