package mosaic

import (
	"math"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/solve"
)

// sphere is what placing knows of the ball and its turn.
type sphere struct {
	epoch    epochSettings
	mount    string // as stated; "" is unknown
	stated   orientSettings
	views    []viewSettings
	globes   []globe // by panel; the zero value carries nothing
	found    bool    // how the camera stood against the Moon's north is known
	turn     float64 // radians from the Moon's north up to the network's frame
	mirrored bool
	share    float64 // the turn of the ball that the overlaps show, over that reckoned
	sigma    float64 // of share, formally
}

// compass is the ball's turn as the equations see it: to first order, ground at a distance of ρ limb radii from the
// middle moved by √(1 − ρ²) times the angle that the sub-observer point did, all of it in one direction. How that direction lies in the
// frame, the unknowns say: the share of what was reckoned times cosine and sine of the turn of north. They enter linearly, so that
// nothing need be known of them beforehand; and that the share comes out as one proves clocks and site.
type compass struct {
	cos, sin float64
	x, y     []float64 // by panel: how far its sub-observer point lies right and down of the epoch's, radians
	whole    bool      // the share is one: only the direction is sought
	stated   bool      // north is stated to be turned by north, within statedSigma
	north    float64   // radians
}

// statedSigma is how well the Moon's north is known in a picture by eye (a guess).
const statedSigma = 3 * math.Pi / 180

// lift returns by how much, over share, ground seen by panel i at a place of the frame is moved: along cos and along sin.
func (c *compass) lift(l circle, i int, x, y float64) (cx, cy, sx, sy float64) {
	dx, dy := x-l.X, y-l.Y
	z := math.Sqrt(max(0, float64(l.R*l.R)-float64(dx*dx)-float64(dy*dy)))
	u, v := float64(z*c.x[i]), float64(z*c.y[i])
	return u, v, -v, u
}

// between returns by how much the lift of B's place is more than that of A's, as lift does.
func (c *compass) between(l circle, t tie, ax, ay, bx, by float64) [4]float64 {
	a0, a1, a2, a3 := c.lift(l, t.A, ax, ay)
	b0, b1, b2, b3 := c.lift(l, t.B, bx, by)
	return [4]float64{b0 - a0, b1 - a1, b2 - a2, b3 - a3}
}

// add keeps the compass solvable, and its share at one if that is known.
func (c *compass) add(eq *solve.Normal) {
	k := eq.N - compassUnknowns
	eq.Add([]int{k}, []float64{1}, 0, 1e-6)
	eq.Add([]int{k + 1}, []float64{1}, 0, 1e-6)
	if c.whole {
		share := portable.Hypot(c.cos, c.sin)
		eq.Add([]int{k, k + 1}, []float64{c.cos / share, c.sin / share}, share-1, 1e8)
		if c.stated {
			off := wrap(portable.Atan2(c.sin, c.cos) - c.north)
			eq.Add([]int{k, k + 1}, []float64{-c.sin / (share * share), c.cos / (share * share)}, off, 1/(statedSigma*statedSigma))
		}
	}
}

func (c *compass) move(step []float64) { c.cos, c.sin = c.cos+step[0], c.sin+step[1] }

// compassUnknowns is how many unknowns the compass adds to the equations.
const compassUnknowns = 2

// leastSway is the least sway, in pixels of the disk's middle, that is looked for: below it the smooth bends do.
const leastSway = 0.15

// orient finds how the camera stood against the Moon's north from how the ground moved against the limb between panels, and from it how each
// panel is carried. It begins and ends with carried panels; ties and rims are those of the panels as carried so far. ok is false
// where the overlaps do not tell.
func (n *network) orient(anchor int, rims []rim) (ok bool, err error) {
	s := n.sphere
	if s == nil || !n.limb.Found || n.sway() < leastSway {
		return false, nil
	}
	start := n.uncarried(rims)
	start.soften()
	var best *network
	for _, mirrored := range [2]bool{false, true} {
		if known, is := n.handedness(); known && mirrored != is {
			continue
		}
		t := start.clone()
		t.compass = s.compass(mirrored)
		// North is stated in the picture as it will lie: with the median panel upright.
		t.compass.stated, t.compass.north = s.stated.Stated, n.medianTurn()+float64(otherWay(s.stated.NorthDeg, mirrored)*math.Pi/180)
		share, sigma, err := t.swing(anchor)
		if err != nil {
			return false, err
		}
		t.sphere = &sphere{epoch: s.epoch, mount: s.mount, stated: s.stated, views: s.views, mirrored: mirrored, share: share, sigma: sigma}
		// Where the ball turned about one axis alone, both fit alike and carry alike.
		if best == nil || t.cost < best.cost-clearly {
			best = t
		}
	}
	if sh := best.sphere; sh.sigma > mostUnsure && !s.stated.Stated || math.Abs(sh.share-1) > max(mostOff, 2.5*sh.sigma) {
		s.share, s.sigma = sh.share, sh.sigma
		return false, nil
	}
	return true, n.adopt(best, anchor)
}

// A share of the ball's turn is believed within mostOff of one and if its formal error is at most mostUnsure: north is then
// within some 20°, so that most of the turn is undone. A picture counts as mirrored if the cost, ½χ², is less clearly.
const (
	mostOff    = 0.35
	mostUnsure = 0.4
	clearly    = 6
)

// alike is how many windows of an overlap say as much as one: what the air left bent reaches over several of them.
const alike = 8

// soften takes from ties and rims what they only seem to say, since their neighbours say the same.
func (n *network) soften() {
	for k := range n.ties {
		for j := range n.ties[k].Info {
			n.ties[k].Info[j] /= alike
		}
	}
	for k := range n.rims {
		n.rims[k].Sigma *= math.Sqrt(alike)
	}
}

// sway is by how much the middle of the disk moved, at the most, between two placed panels, in pixels.
func (n *network) sway() float64 {
	most := 0.0
	for i, v := range n.sphere.views {
		for j, w := range n.sphere.views[:i] {
			if n.in[i] && n.in[j] && v.Known && w.Known {
				most = max(most, portable.Hypot(v.EastDeg-w.EastDeg, v.NorthDeg-w.NorthDeg))
			}
		}
	}
	return most * math.Pi / 180 * n.limb.R
}

func (s *sphere) compass(mirrored bool) *compass {
	c := &compass{x: make([]float64, len(s.views)), y: make([]float64, len(s.views))}
	for i, v := range s.views {
		c.x[i], c.y[i] = v.EastDeg*math.Pi/180, flip(mirrored)*v.NorthDeg*math.Pi/180
	}
	return c
}

// uncarried returns the network of the panels as they were taken, but for the air's squashing as far as it is known, with the
// rims given.
func (n *network) uncarried(rims []rim) *network {
	out := n.clone()
	out.sphere = nil
	out.rims = append([]rim(nil), rims...)
	if n.sphere.globes == nil {
		return out
	}
	disk := n.disk()
	for i := range n.poses {
		if g := &n.sphere.globes[i]; g.Known && n.in[i] {
			out.poses[i] = poseOf(disk.after(g.Pixel.inverse()), n.w[i], n.h[i])
		}
	}
	for k := range out.ties {
		t := &out.ties[k]
		t.AX, t.AY = n.sphere.globes[t.A].plain(t.AX, t.AY)
		t.BX, t.BY = n.sphere.globes[t.B].plain(t.BX, t.BY)
	}
	for k := range out.rims {
		r := &out.rims[k]
		r.X, r.Y = n.sphere.globes[r.Panel].plain(r.X, r.Y)
	}
	return out
}

// clone copies what a solution moves.
func (n *network) clone() *network {
	out := *n
	out.poses = append([]pose(nil), n.poses...)
	out.ties = append([]tie(nil), n.ties...)
	out.rims = append([]rim(nil), n.rims...)
	return &out
}

// disk is the map from the disk, the Moon's north up, to the frame.
func (n *network) disk() similarity {
	sin, cos := portable.Sincos(n.sphere.turn)
	return similarity{A: n.limb.R * cos, B: n.limb.R * sin, X: n.limb.X, Y: n.limb.Y}
}

// swing settles the network with the compass free, then with a share of one, and returns the share found.
func (n *network) swing(anchor int) (share, sigma float64, err error) {
	if err := n.settle(anchor, 12); err != nil {
		return 0, 0, err
	}
	c := n.compass
	if share = portable.Hypot(c.cos, c.sin); share == 0 {
		return 0, math.Inf(1), nil
	}
	if sigma, err = n.unsure(anchor); err != nil {
		return 0, 0, err
	}
	if c.cos, c.sin, c.whole = c.cos/share, c.sin/share, true; c.stated {
		c.sin, c.cos = portable.Sincos(c.north)
	}
	return share, sigma, n.settle(anchor, 12)
}

// unsure returns the formal error of the compass, from the equations at the solution.
func (n *network) unsure(anchor int) (float64, error) {
	eq := n.equations(anchor, 1)
	inv, err := solve.Inverse(eq.A, eq.N)
	if err != nil {
		return 0, err
	}
	k := eq.N - compassUnknowns
	return math.Sqrt(max(inv[k*eq.N+k], inv[(k+1)*eq.N+k+1])), nil
}

// adopt takes the placements and the north of a solution of the panels as they were taken, and carries the panels anew.
func (n *network) adopt(t *network, anchor int) error {
	s := t.sphere
	s.found, s.turn = true, portable.Atan2(t.compass.sin, t.compass.cos)
	n.sphere, n.limb = s, t.limb
	s.globes = make([]globe, len(n.poses))
	disk := n.disk()
	m := t.maps()
	for i := range n.poses {
		n.poses[i] = t.poses[i]
		if !n.in[i] || !s.views[i].Known {
			continue
		}
		own := disk.inverse().after(m[i]) // from a pixel to the disk as it was seen
		g := globe{Known: true, Pixel: own.inverse(), Mirrored: s.mirrored, View: s.views[i], EpochKM: s.epoch.DistanceKM}
		g.lookUp(n.w[i], n.h[i])
		shift, err := g.shift(own, n.w[i], n.h[i])
		if err != nil {
			return err
		}
		g.Disk = own
		g.Disk.X += shift[0]
		g.Disk.Y += shift[1]
		if err := g.ready(); err != nil {
			return err
		}
		s.globes[i] = g
		n.poses[i] = poseOf(disk.after(g.Disk), n.w[i], n.h[i])
	}
	return nil
}

// shift returns how far on the disk the ground in a panel moved until the epoch in the mean, so that the carried panel's
// pixels lie near the panel's.
func (g *globe) shift(own similarity, w, h int) (mean [2]float64, err error) {
	c, err := moon.NewCarry(g.View.aspect().Disk(), moon.DiskOf(0, 0, g.EpochKM), limbBlur*own.scale())
	if err != nil {
		return mean, err
	}
	const cells = 12
	f, count := flip(g.Mirrored), 0.0
	for j := range cells {
		for i := range cells {
			x, y := own.at(float64(w*(2*i+1))/(2*cells), float64(h*(2*j+1))/(2*cells))
			if float64(x*x)+float64(y*y) >= 1 {
				continue
			}
			u, v := c.At(x, float64(f*y))
			mean[0], mean[1], count = mean[0]+u-x, mean[1]+float64(f*v)-y, count+1
		}
	}
	return [2]float64{mean[0] / max(count, 1), mean[1] / max(count, 1)}, nil
}

// lookUp finds the direction of the zenith in a panel.
func (g *globe) lookUp(w, h int) {
	sin, cos := portable.Sincos(g.View.ZenithDeg * math.Pi / 180)
	// North through east is from up to the left as the sky is seen.
	x, y := g.Pixel.turned(-sin, float64(flip(g.Mirrored)*cos))
	k := g.Pixel.scale()
	g.UpX, g.UpY, g.MidX, g.MidY = x/k, y/k, float64(w-1)/2, float64(h-1)/2
}

// limbRims are the brinks along the limb, thinned, as rims: rough ones, for when nothing finer is measured yet.
func (n *network) limbRims(s []seen) (out []rim) {
	const most, sigma, tol = 40, 1.5, 8.0
	m := n.maps()
	for i := range s {
		if !n.in[i] {
			continue
		}
		var on []rim
		for _, b := range s[i].Brinks {
			x, y := m[i].at(b.X, b.Y)
			nx, ny := m[i].turned(b.NX, b.NY)
			if k := m[i].scale(); n.limb.holds(brink{x, y, nx / k, ny / k}, tol) {
				on = append(on, rim{Panel: i, X: b.X, Y: b.Y, Sigma: sigma})
			}
		}
		for k := range min(most, len(on)) {
			out = append(out, on[k*len(on)/min(most, len(on))])
		}
	}
	return out
}
