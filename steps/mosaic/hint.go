package mosaic

import (
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/portable"
)

// Hint is a block inside a mosaic block that says where a panel lies which matching cannot place.
//
// Offsets are those of the panel's middle from the disk's. North is the Moon's where an orientation block states it; otherwise
// the picture's top counts as north and its left as east, as the sky is seen with north up. The turn is the panel's
// against most others, anticlockwise in the picture.
type Hint struct {
	Clip        pipeline.Clip `hcl:"clip,label"`
	EastArcmin  *float64      `hcl:"east_arcmin,optional" min:"-60" max:"60"`
	NorthArcmin *float64      `hcl:"north_arcmin,optional" min:"-60" max:"60"`
	TurnDeg     *float64      `hcl:"turn_deg,optional" min:"-180" max:"180"`
}

func checkHints(set any, _ pipeline.Night) []pipeline.Problem {
	var out []pipeline.Problem
	for _, h := range set.(*Settings).Hints {
		path := "hint." + string(h.Clip)
		switch {
		case h.EastArcmin == nil && h.NorthArcmin == nil && h.TurnDeg == nil:
			out = append(out, pipeline.Problem{Path: path, Text: "this hint says nothing", Hint: "add east_arcmin and north_arcmin, turn_deg, or all three"})
		case h.EastArcmin == nil && h.NorthArcmin != nil:
			out = append(out, pipeline.Problem{Path: path, Text: "this hint has north_arcmin without east_arcmin", Hint: "give both; 0 is the disk's middle"})
		case h.EastArcmin != nil && h.NorthArcmin == nil:
			out = append(out, pipeline.Problem{Path: path, Text: "this hint has east_arcmin without north_arcmin", Hint: "give both; 0 is the disk's middle"})
		}
	}
	return out
}

// hintSettings is a hint as the parts see it: for a panel by number, since they know no names.
type hintSettings struct {
	Panel                   int
	Aimed                   bool
	EastArcmin, NorthArcmin float64
	Turned                  bool
	TurnDeg                 float64
}

// along turns a hint from the Moon's east and north, which are stated to lie so, to the picture's left and top.
func (s hintSettings) along(o *Orientation) hintSettings {
	if o == nil {
		return s
	}
	sin, cos := portable.Sincos(o.NorthDeg * math.Pi / 180)
	e, n := s.EastArcmin, s.NorthArcmin
	if o.Mirrored {
		e = -e
	}
	s.EastArcmin, s.NorthArcmin = float64(e*cos)+float64(n*sin), float64(n*cos)-float64(e*sin)
	return s
}

func hintFor(panel int, h Hint) hintSettings {
	s := hintSettings{Panel: panel}
	if h.EastArcmin != nil && h.NorthArcmin != nil {
		s.Aimed, s.EastArcmin, s.NorthArcmin = true, *h.EastArcmin, *h.NorthArcmin
	}
	if h.TurnDeg != nil {
		s.Turned, s.TurnDeg = true, *h.TurnDeg
	}
	return s
}

// aim is a hint in the network's frame and pixels.
type aim struct {
	hintSettings
	pose   pose    // where the middle should lie, and the turn if one is given
	known  bool    // the place: the hint has one, and scale and the disk's middle are known
	arcmin float64 // pixels
}

// How far a hint may be off: pointing and reading a chart are good to about an arcminute (common practice, no source).
const (
	hintSigma     = 0.5 // arcmin, one standard deviation
	hintReach     = 2.0 // arcmin within which a hinted panel is looked for, and beyond which a hint contradicts
	hintTurnSigma = 1.5 * math.Pi / 180
	hintTurnReach = 10 * math.Pi / 180
)

// reach is how far from its hint a panel is looked for, in pixels.
func (a aim) reach(w, h int) float64 {
	return max(hintReach*a.arcmin, float64(min(w, h))/8)
}

// aims brings the hints into the network's frame, by panel. The disk's middle is that of the limb, or else where
// the hints of panels already placed put it.
func (n *network) aims(hints []hintSettings, stated float64) map[int]aim {
	out := map[int]aim{}
	scale := likelyScale(stated, n.limb, n.arc)
	up := similarity{A: 1}
	if len(hints) > 0 {
		up = pose{Turn: n.medianTurn(), Scale: 1}.of(1, 1)
	}
	// Right and down of the middle in the picture as it will lie, then in the network's frame.
	offset := func(h hintSettings) (x, y float64) {
		return up.turned(-float64(h.EastArcmin*60/scale), -float64(h.NorthArcmin*60/scale))
	}
	cx, cy, known := n.limb.X, n.limb.Y, n.limb.Found && scale > 0
	if !known && scale > 0 {
		var x, y, count float64
		for _, h := range hints {
			if h.Aimed && n.in[h.Panel] {
				dx, dy := offset(h)
				x, y, count = x+n.poses[h.Panel].X-dx, y+n.poses[h.Panel].Y-dy, count+1
			}
		}
		if known = count > 0; known {
			cx, cy = x/count, y/count
		}
	}
	for _, h := range hints {
		a := aim{hintSettings: h, known: h.Aimed && known, pose: pose{Scale: 1, Turn: n.turnAt(h.Panel)}}
		if h.Turned {
			a.pose.Turn = wrap(n.medianTurn() - float64(h.TurnDeg*math.Pi/180))
		}
		if a.known {
			dx, dy := offset(h)
			a.pose.X, a.pose.Y, a.arcmin = cx+dx, cy+dy, 60/scale
		}
		out[h.Panel] = a
	}
	return out
}

// likelyScale is the image scale in arcsec/px for a first use: the stated one if no good part of the limb belies it; 0 if
// nothing is known.
func likelyScale(stated float64, limb circle, arcDeg float64) float64 {
	if !limb.Found || stated > 0 && arcDeg < leastArc {
		return stated
	}
	if d := stated * 2 * limb.R / 60; stated > 0 && d < mostDiameter*1.03 && d > leastDiameter*0.97 {
		return stated
	}
	return meanDiameter * 60 / (2 * limb.R)
}

// placeByHint puts panels that nothing else could place where their hints say, then moves each so that its limb lies
// on the disk's. A panel so placed is held near its hint from then on.
func (n *network) placeByHint(hints []hintSettings, stated float64, s []seen) {
	n.hinted = map[int]aim{}
	if len(hints) == 0 {
		return
	}
	n.findLimb(s, 4)
	all := n.aims(hints, stated)
	for _, h := range hints { // in order: a map has none
		if a := all[h.Panel]; !n.in[h.Panel] && a.known {
			n.in[h.Panel], n.poses[h.Panel] = true, a.pose
			n.poses[h.Panel] = n.ontoLimb(a, s[h.Panel].Brinks)
			n.hinted[h.Panel] = a
		}
	}
}

// ontoLimb moves a hinted panel by the shift, likely under its hint, that brings its brinks onto the limb.
func (n *network) ontoLimb(a aim, brinks []brink) pose {
	p := a.pose
	if !n.limb.Found {
		return p
	}
	w, h := n.w[a.Panel], n.h[a.Panel]
	reach, sigma := a.reach(w, h), hintSigma*a.arcmin
	for _, tol := range [...]float64{reach, reach, reach / 2, 4, 3, 3} {
		m := p.of(w, h)
		prior := 1 / (sigma * sigma)
		xx, xy, yy := prior, 0.0, prior
		rx, ry := float64(prior*(a.pose.X-p.X)), float64(prior*(a.pose.Y-p.Y))
		for _, b := range brinks {
			x, y := m.at(b.X, b.Y)
			nx, ny := m.turned(b.NX, b.NY)
			if !n.limb.holds(brink{x, y, nx, ny}, max(tol, 3)) {
				continue
			}
			dx, dy := x-n.limb.X, y-n.limb.Y
			d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
			ux, uy, off := dx/d, dy/d, n.limb.R-d
			xx, xy, yy = xx+float64(ux*ux), xy+float64(ux*uy), yy+float64(uy*uy)
			rx, ry = rx+float64(off*ux), ry+float64(off*uy)
		}
		det := float64(xx*yy) - float64(xy*xy)
		p.X += (float64(yy*rx) - float64(xy*ry)) / det
		p.Y += (float64(xx*ry) - float64(xy*rx)) / det
	}
	return p
}

// What became of a hint, in the table of placements.
const (
	hintUsed         = "placed by hint"
	hintAlone        = "placed by hint, which nothing confirms"
	hintContradicted = "matching contradicts the hint and wins"
	hintUseless      = "the hint could not be used: scale and middle of the disk are not known"
)

// judgeHints states what became of each hint.
func (n *network) judgeHints(g *geometry, hints []hintSettings, stated float64) {
	all := n.aims(hints, stated)
	seen := make([]bool, len(n.poses))
	for _, t := range n.ties {
		seen[t.A], seen[t.B] = true, true
	}
	for _, r := range n.rims {
		seen[r.Panel] = true
	}
	for _, h := range hints {
		p, a := &g.Panels[h.Panel], all[h.Panel]
		_, placed := n.hinted[h.Panel]
		off, turn := 0.0, 0.0
		if a.known && n.in[h.Panel] {
			dx, dy := n.poses[h.Panel].X-a.pose.X, n.poses[h.Panel].Y-a.pose.Y
			off = math.Sqrt(float64(dx*dx) + float64(dy*dy))
		}
		if h.Turned && n.in[h.Panel] {
			turn = math.Abs(wrap(n.poses[h.Panel].Turn - a.pose.Turn))
		}
		switch {
		case placed && seen[h.Panel]:
			p.Hint = hintUsed
		case placed:
			p.Hint = hintAlone
		case n.in[h.Panel] && (a.known && off > a.reach(n.w[h.Panel], n.h[h.Panel]) || turn > hintTurnReach):
			p.Hint = hintContradicted
			if a.known {
				p.HintOffArcmin = off / a.arcmin
			}
			p.HintOffDeg = turn * 180 / math.Pi
		case !n.in[h.Panel] && h.Aimed && !a.known:
			p.Hint = hintUseless
		}
	}
}

// warnHint says what the user should know of a panel's hint.
func warnHint(t *pipeline.Task, p placed, name string) {
	switch p.Hint {
	case hintAlone:
		t.Warn("hint-alone", "%s lies where its hint puts it; neither a neighbour nor the limb confirms the place", name)
	case hintContradicted:
		what := fmt.Sprintf("puts it %.1f′ from", p.HintOffArcmin)
		if p.HintOffDeg > hintTurnReach*180/math.Pi {
			what = fmt.Sprintf("turns it by %.0f° against", p.HintOffDeg)
		}
		t.Warn("hint-contradicted", "the hint for %s %s where its neighbours hold it; the neighbours are believed: correct the hint, or leave the panel out with except", name, what)
	case hintUseless:
		t.Warn("hint-unused", "the hint for %s cannot be used: %s", name,
			"no limb was found, so the disk's middle and the scale are not known; state focal_length_mm and pixel_um, and give a hint for a panel that is placed as well")
	}
}
