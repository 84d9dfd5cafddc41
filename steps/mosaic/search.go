package mosaic

import (
	"math"

	"plenilune/steps/kernel/fourier"
)

// searchPixels is how large a panel may be while it is searched for: enough for its large marks.
const searchPixels = 25_000

// turnedBy returns the picture turned by an angle about its middle, on the same canvas.
func (s small) turnedBy(angle float64) small {
	m := aboutMiddle(s, -angle)
	out := small{s.w, s.h, make([]float32, len(s.v)), make([]float32, len(s.v))}
	for y := range s.h {
		for x := range s.w {
			if v, ok := s.linear(m.at(float64(x), float64(y))); ok {
				out.v[y*s.w+x], out.mask[y*s.w+x] = float32(v), 1
			}
		}
	}
	return out
}

// holed returns the picture with NaN for holes.
func (s small) holed() []float32 {
	v := make([]float32, len(s.v))
	for i := range v {
		if v[i] = s.v[i]; s.mask[i] == 0 {
			v[i] = nan32
		}
	}
	return v
}

// shrunk averages blocks of f by f pixels.
func (s small) shrunk(f int) small {
	d, w, h := shrink(s.holed(), s.w, s.h, f)
	out := small{w: w, h: h}
	out.mask, out.v = maskOf(d)
	return out
}

var nan32 = float32(math.NaN())

const (
	seekNCC    = 0.6
	seekTurns  = 13 // at the most
	shiftSigma = 4  // how far a place found by a shift of whole pixels may be off, in these; its five points err together, so that each is given more
)

// seekLost looks for panels that no point tied to the placed ones: by correlation with each of these, at
// the turns that the session makes likely. What it finds are links like any others.
func (n *network) seekLost(s []seen, even []small, aims map[int]aim, each eachFunc) ([]link, error) {
	var lost, placed []int
	side := 0
	for i := range s {
		switch {
		case n.in[i]:
			placed = append(placed, i)
		case !s[i].Tones.empty():
			lost = append(lost, i)
		}
	}
	if len(lost) == 0 || len(placed) == 0 {
		return nil, nil
	}
	f := 1
	for _, e := range even {
		for e.w*e.h/(f*f) > searchPixels {
			f++
		}
	}
	tiny := make([]small, len(even))
	for _, i := range append(placed, lost...) {
		tiny[i] = even[i].shrunk(f)
		side = max(side, tiny[i].w, tiny[i].h)
	}
	side = fourier.Good(2*side - 1)
	plan := fourier.NewReal(side, side)
	fixed := make([]*fourier.Masked, len(even))
	for _, i := range placed {
		fixed[i] = fourier.NewMasked(plan, tiny[i].holed(), tiny[i].w, tiny[i].h)
	}
	found := make([]*link, len(lost))
	err := each(len(lost), func(at int) error {
		found[at] = n.seekOne(plan, lost[at], fixed, s, tiny, even, f, aims)
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

// find is a possible place of a lost panel: where its middle would lie.
type find struct {
	link    *link
	turn, p int
	x, y    float64
	score   float64
	overlap float64
}

// seekOne returns the best place of panel u on any of the fixed ones, or nil.
func (n *network) seekOne(plan *fourier.Real, u int, fixed []*fourier.Masked, s []seen, tiny, even []small, f int, aims map[int]aim) *link {
	const leastOverlap = 0.04
	var finds []find
	a, hinted := aims[u]
	peaks, reach := 3, math.Inf(1)
	if hinted && a.known {
		peaks, reach = 12, a.reach(n.w[u], n.h[u]) // the place itself may be one of many that look alike
	}
	turns := n.likelyTurns(u)
	if hinted && a.Turned {
		turns = []float64{a.pose.Turn, a.pose.Turn - hintTurnSigma/2, a.pose.Turn + hintTurnSigma/2, a.pose.Turn - hintTurnSigma, a.pose.Turn + hintTurnSigma}
	}
	for k, turn := range turns {
		for p := range fixed {
			if fixed[p] == nil {
				continue
			}
			by := wrap(turn - n.poses[p].Turn)
			moved := tiny[u].turnedBy(by)
			hits := fourier.NCC(fixed[p], fourier.NewMasked(plan, moved.holed(), moved.w, moved.h)).Peaks(peaks, leastOverlap, 4)
			for _, hit := range hits {
				if hit.NCC < seekNCC {
					continue
				}
				// From p's pixels to u's: along the shift, then turned back about u's middle.
				m := aboutMiddle(tiny[u], -by).after(similarity{A: 1, X: hit.DX, Y: hit.DY})
				l := scaledLink(link{A: p, B: u, Map: m, sigma: shiftSigma * float64(f*max(s[p].Reduce, s[u].Reduce))}, f*s[p].Reduce, f*s[u].Reduce)
				w := poseOf(n.poses[p].of(n.w[p], n.h[p]).after(l.Map.inverse()), n.w[u], n.h[u])
				if math.Max(math.Abs(w.X-a.pose.X), math.Abs(w.Y-a.pose.Y)) > reach {
					continue
				}
				if l = n.confirm(l, s, even); l != nil {
					finds = append(finds, find{l, k, p, w.X, w.Y, l.NCC * math.Sqrt(hit.Overlap), hit.Overlap})
				}
			}
		}
	}
	return elect(finds, float64(6*f))
}

// elect returns the find that most panels bear out: one that lies within tol pixels of finds on other panels
// at the same turn. One panel alone must be very like and overlap well.
func elect(finds []find, tol float64) *link {
	const (
		aloneNCC     = 0.7
		aloneOverlap = 0.1
	)
	var best *link
	most := 0.0
	for _, c := range finds {
		by := map[int]float64{}
		sum := 0.0
		for _, d := range finds {
			if d.turn == c.turn && math.Abs(d.x-c.x) < tol && math.Abs(d.y-c.y) < tol && d.score > by[d.p] {
				sum += d.score - by[d.p]
				by[d.p] = d.score
			}
		}
		if len(by) < 2 && (c.link.NCC < aloneNCC || c.overlap < aloneOverlap) {
			continue
		}
		if sum > most || sum == most && best != nil && c.link.NCC > best.NCC {
			best, most = c.link, sum
		}
	}
	return best
}

// aboutMiddle is a turn about a picture's middle.
func aboutMiddle(s small, angle float64) similarity {
	return pose{float64(s.w-1) / 2, float64(s.h-1) / 2, angle, 1}.of(s.w, s.h)
}

// confirm checks a find at matching scale and gives it five points in the overlap.
func (n *network) confirm(l *link, s []seen, even []small) *link {
	ra := similarity{A: float64(s[l.A].Reduce)}
	rb := similarity{A: 1 / float64(s[l.B].Reduce)}
	ncc, count := likenessOver(even[l.A], even[l.B], rb.after(l.Map).after(ra))
	if ncc < seekNCC/2 || count < 100 {
		return nil
	}
	l.NCC = ncc
	x0, y0, x1, y1 := bounds(l.Map.inverse(), s[l.B].W, s[l.B].H)
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, float64(s[l.A].W-1)), min(y1, float64(s[l.A].H-1))
	for _, c := range [5][2]float64{{x0, y0}, {x1, y0}, {x0, y1}, {x1, y1}, {(x0 + x1) / 2, (y0 + y1) / 2}} {
		x, y := l.Map.at(c[0], c[1])
		l.Pts = append(l.Pts, pointPair{c[0], c[1], x, y})
	}
	if l.A > l.B {
		l.A, l.B, l.Map = l.B, l.A, l.Map.inverse()
		for i, p := range l.Pts {
			l.Pts[i] = pointPair{p.BX, p.BY, p.AX, p.AY}
		}
	}
	return l
}

// turnAt is the turn that a panel most likely has: that of the session's course at its time, or most panels'.
func (n *network) turnAt(u int) float64 {
	if n.drift.tells(u) {
		t, _ := n.drift.expects(u)
		return t
	}
	return n.medianTurn()
}

// likelyTurns returns the turns at which an unplaced panel may lie: near the session's course if times tell,
// otherwise all over the placed panels' range.
func (n *network) likelyTurns(u int) []float64 {
	const step = 0.4 * math.Pi / 180
	base := n.turnAt(u)
	if n.drift.tells(u) {
		return []float64{base, base - step, base + step}
	}
	lo, hi := 0.0, 0.0
	for i, p := range n.poses {
		if n.in[i] {
			d := wrap(p.Turn - base)
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	gap := max(step, (hi-lo)/(seekTurns-3))
	var out []float64
	for t := lo - gap; t <= hi+float64(1.01*gap); t += gap {
		out = append(out, base+t)
	}
	return out
}
