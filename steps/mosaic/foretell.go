package mosaic

import "math"

// foretold is what site and clocks say of each panel: its turn, up to one that all have in common, and its scale.
type foretold struct {
	turn, scale []float64
	mount       string // what the turns fit: mountAltaz or mountEquatorial
	mirrored    bool
	handed      bool // the turns tell whether the picture is mirrored
}

// The words of the manifest for how a camera is held against the sky: upright against the zenith, or against the pole.
const (
	mountAltaz      = "altaz"
	mountEquatorial = "equatorial"
)

// turnOf returns the turn foretold of a panel, in radians; 0 if nothing is known.
func (d *drift) turnOf(i int) float64 {
	if d.foretold == nil {
		return 0
	}
	return d.foretold.turn[i]
}

// scaleOf returns the scale foretold of a panel; 1 if nothing is known.
func (d *drift) scaleOf(i int) float64 {
	if d.foretold == nil {
		return 1
	}
	return d.foretold.scale[i]
}

// foretell returns what the views say: how far the Moon was tells the scale, and of the turns that a mount may give it takes those that the
// placed panels follow best, unless the mount is stated. nil if nothing is known.
func (n *network) foretell() *foretold {
	s := n.sphere
	if s == nil {
		return nil
	}
	best, least := &foretold{turn: make([]float64, len(s.views)), scale: make([]float64, len(s.views))}, math.Inf(1)
	var other [2]float64 // how far the panels stray at best, as on the sky and mirrored
	other[0], other[1] = math.Inf(1), math.Inf(1)
	for i, v := range s.views {
		if best.scale[i] = 1; v.Known {
			best.scale[i] = v.DistanceKM / s.epoch.DistanceKM
		}
	}
	for _, mount := range [2]string{mountAltaz, mountEquatorial} {
		for hand, sign := range [2]float64{1, -1} {
			if s.mount != "" && mount != s.mount || s.found && (hand == 1) != s.mirrored {
				continue
			}
			// With y down, what is turned from north to east in the picture has to be turned from x to y to stand upright.
			turn := make([]float64, len(s.views))
			for i, v := range s.views {
				a := v.UprightDeg
				if mount == mountEquatorial {
					a = v.AxisDeg
				}
				turn[i] = float64(sign * a * math.Pi / 180)
			}
			off := n.strays(turn)
			if other[hand] = min(other[hand], off); off < least {
				best, least = &foretold{turn: turn, scale: best.scale, mount: mount, mirrored: hand == 1}, off
			}
		}
	}
	best.handed = s.found || max(other[0], other[1]) > float64(5*least)+handTurn
	return best
}

// handTurn is by how much, in radians, turns must stray from a course to belie it.
const handTurn = 0.01

// handedness returns whether the picture is mirrored, if that is known: stated, found already, or told by the turns of an altazimuth
// mount.
func (n *network) handedness() (known, mirrored bool) {
	if s := n.sphere.stated; s.Stated {
		return true, s.Mirrored
	}
	f := n.foretell()
	return f.handed, f.mirrored
}

// strays returns by how much the placed panels' turns stray from those foretold, in the median; +Inf where no two are placed.
func (n *network) strays(turn []float64) float64 {
	first := -1
	var off []float64
	for i, p := range n.poses {
		if !n.in[i] || !n.sphere.views[i].Known {
			continue
		}
		if first < 0 {
			first = i
		}
		off = append(off, wrap(p.Turn-turn[i]-n.poses[first].Turn+turn[first]))
	}
	if len(off) < 2 {
		return math.Inf(1)
	}
	mid := median(off)
	for k, v := range off {
		off[k] = math.Abs(wrap(v - mid))
	}
	return median(off)
}
