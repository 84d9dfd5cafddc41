package mosaic

import "math"

// geometry is the table that says where everything lies, in pixels of the joined picture.
type geometry struct {
	Width, Height int
	Panels        []placed
	Limb          limbTable
	Sphere        sphereTable
	Overlaps      []overlapFit
}

// overlapFit is how well two panels' windows fit each other, in pixels rms, where both were placed; with no windows, their points.
type overlapFit struct {
	A, B, Windows int
	RMS           float64
}

// placed is one panel's place: its middle lies at (X, Y).
type placed struct {
	W, H    int
	Placed  bool
	X, Y    float64
	TurnRad float64
	Scale   float64
	RMS     float64 // of what its overlaps show, pixels
	Group   int     // index of the first panel it hangs together with
	Empty   bool
	Tones   tonalRange
	Bend    bend
	Globe   globe // how it is carried over the lunar sphere, if it is
	// Hint is what became of the user's hint, if there was one; where it contradicts matching, by how much.
	Hint                      string
	HintOffArcmin, HintOffDeg float64
}

func (p placed) toMosaic() similarity {
	return pose{p.X, p.Y, p.TurnRad, p.Scale}.of(p.W, p.H)
}

// limbTable is the fitted limb; ArcDeg is how much of it was measured.
type limbTable struct {
	Found   bool
	X, Y, R float64
	RMS     float64
	ArcDeg  float64
}

// frame turns the whole mosaic so that the median panel stands as it was shot, and moves it so that all
// of it has coordinates from zero on. It returns the size of the canvas.
func (n *network) frame() (w, h int) {
	n.rotate(-n.medianTurn())
	x0, y0 := math.Inf(1), math.Inf(1)
	x1, y1 := math.Inf(-1), math.Inf(-1)
	for i, m := range n.maps() {
		if n.in[i] {
			a, b, c, d := n.globe(i).bounds(m, n.w[i], n.h[i])
			x0, y0, x1, y1 = min(x0, a), min(y0, b), max(x1, c), max(y1, d)
		}
	}
	// The median panel's pixels fall on whole ones, so that a single panel is not resampled at all.
	u, v := n.maps()[n.medianPanel()].at(0, 0)
	dx, dy := wholeAfter(u, -x0), wholeAfter(v, -y0)
	for i := range n.poses {
		n.poses[i].X += dx
		n.poses[i].Y += dy
	}
	n.limb.X += dx
	n.limb.Y += dy
	return int(math.Ceil(x1+dx-rounding)) + 1, int(math.Ceil(y1+dy-rounding)) + 1
}

// rounding is what a place may be off a whole pixel, in pixels, and still lie on it.
const rounding = 1e-6

// wholeAfter returns the least shift, by so much at least, that moves a place onto a whole pixel.
func wholeAfter(place, least float64) float64 {
	return math.Ceil(place+least-rounding) - place
}

// medianPanel returns the placed panel whose turn is nearest to all others'.
func (n *network) medianPanel() int {
	least, best := math.Inf(1), 0
	for i, p := range n.poses {
		if !n.in[i] {
			continue
		}
		sum := 0.0
		for j, q := range n.poses {
			if n.in[j] {
				sum += math.Abs(wrap(p.Turn - q.Turn))
			}
		}
		if sum < least {
			least, best = sum, i
		}
	}
	return best
}

// medianTurn is that panel's turn.
func (n *network) medianTurn() float64 { return n.poses[n.medianPanel()].Turn }

// rotate turns the whole mosaic about its origin.
func (n *network) rotate(a float64) {
	s := pose{Turn: a, Scale: 1}.of(1, 1)
	for i := range n.poses {
		p := &n.poses[i]
		p.X, p.Y = s.at(p.X, p.Y)
		p.Turn = wrap(p.Turn + a)
	}
	n.drift.turn[0] += a
	if n.sphere != nil {
		n.sphere.turn += a
	}
	n.limb.X, n.limb.Y = s.at(n.limb.X, n.limb.Y)
	for i := range n.ties {
		n.ties[i].Info = turnInfo(n.ties[i].Info, s)
	}
}

// turnInfo carries an inverse covariance along with a turn.
func turnInfo(v [3]float64, s similarity) [3]float64 {
	c, d := s.A, s.B
	cc, dd, cd := float64(c*c), float64(d*d), float64(c*d)
	return [3]float64{
		float64(cc*v[0]) - float64(2*cd*v[1]) + float64(dd*v[2]),
		float64(cd*(v[0]-v[2])) + float64((cc-dd)*v[1]),
		float64(dd*v[0]) + float64(2*cd*v[1]) + float64(cc*v[2]),
	}
}

// residuals returns each panel's rms distance between what its overlaps' windows show, robustly weighted; of an overlap without
// windows, what its points show.
func (n *network) residuals() []float64 {
	m := n.maps()
	sum, weight := make([]float64, len(m)), make([]float64, len(m))
	for _, t := range n.ties {
		if !n.in[t.A] || !n.in[t.B] || n.outdone(t) {
			continue
		}
		x, y := t.residual(m)
		off, w := t.off(x, y)
		for _, i := range [2]int{t.A, t.B} {
			sum[i] += off
			weight[i] += w
		}
	}
	for i := range sum {
		if weight[i] > 0 {
			sum[i] = math.Sqrt(sum[i] / weight[i])
		}
	}
	return sum
}

// off returns a residual's square and its weight as the solution has them: along a bare limb, where nothing tells the shift, what
// a window says of it counts for nothing.
func (t tie) off(x, y float64) (weighted, weight float64) {
	strain := t.strain(x, y)
	w := cauchy(strain)
	return float64(w * strain), float64(w * (t.Info[0] + t.Info[2]) / 2)
}

// outdone tells whether a tie is of points in an overlap that has windows, which tell better how well it fits.
func (n *network) outdone(t tie) bool { return t.Points && len(n.overlaps[[2]int{t.A, t.B}].ties) > 0 }

// overlapFits tells for every overlap how far its windows, or its points if it has none, lie off, weighted as in the solution.
func (n *network) overlapFits() []overlapFit {
	m := n.maps()
	var out []overlapFit
	var weight []float64
	at := map[[2]int]int{}
	for _, t := range n.ties {
		if !n.in[t.A] || !n.in[t.B] || n.outdone(t) {
			continue
		}
		pair := [2]int{min(t.A, t.B), max(t.A, t.B)}
		k, ok := at[pair]
		if !ok {
			k = len(out)
			at[pair] = k
			out, weight = append(out, overlapFit{A: pair[0], B: pair[1]}), append(weight, 0)
		}
		x, y := t.residual(m)
		off, w := t.off(x, y)
		if !t.Points {
			out[k].Windows++
		}
		out[k].RMS += off
		weight[k] += w
	}
	for k := range out {
		out[k].RMS = math.Sqrt(out[k].RMS / weight[k])
	}
	return out
}

// limbTable describes the fitted limb.
func (n *network) limbTable() limbTable {
	l := limbTable{Found: n.limb.Found && len(n.rims) > 0}
	if !l.Found {
		return l
	}
	l.X, l.Y, l.R = n.limb.X, n.limb.Y, n.limb.R
	l.RMS, l.ArcDeg = n.limbFit()
	return l
}

// limbFit returns how far the rims lie from the limb, robustly weighted, and how many degrees of it they cover.
func (n *network) limbFit() (rms, arcDeg float64) {
	m := n.maps()
	var sum, weight float64
	var seen arc
	for _, r := range n.rims {
		x, y := m[r.Panel].at(r.X, r.Y)
		dx, dy := x-n.limb.X, y-n.limb.Y
		d := math.Sqrt(float64(dx*dx)+float64(dy*dy)) - n.limb.R
		w := cauchy(d * d / (r.Sigma * r.Sigma))
		sum += float64(w * float64(d*d))
		weight += w
		seen.mark(dx, dy)
	}
	return math.Sqrt(sum / weight), seen.degrees()
}

// arc is which directions from a circle's centre were seen.
type arc [90]bool

func (a *arc) mark(dx, dy float64) {
	turn := similarity{A: dx, B: dy}.turn()
	a[(int(math.Floor(turn*float64(len(a))/(2*math.Pi)))+len(a))%len(a)] = true
}

func (a *arc) degrees() (deg float64) {
	for _, s := range a {
		if s {
			deg += 360.0 / float64(len(a))
		}
	}
	return deg
}

// How far the rims may lie from a circle, rms, that is the limb: by pixels, a quarter of which poor air makes up, or by a
// part of the radius, twice the Moon's own relief. On simulated crescents a stretch of terminator that passes for an arc
// strays by three thousandths of the radius.
const (
	worstLimb       = 0.6 // px
	worstLimbOfDisk = 2 * limbRelief
)

// limbRelief is how far mountains and valleys lift the limb off a circle, rms, of the radius: about 0.6″ of 932″ (Watts 1963,
// The Marginal Zone of the Moon; the value from memory).
const limbRelief = 0.0006

// reliefReach is how far along the limb one mountain or valley goes, of the radius: some 3°, 90 km (a guess: ranges and
// basins at the limb are that wide).
const reliefReach = 0.05

// judgeLimb lets go of a limb that is none. In the first rounds placements are still rough.
func (n *network) judgeLimb(round int) {
	if !n.limb.Found || round == 0 {
		return
	}
	worst := max(worstLimb, worstLimbOfDisk*n.limb.R)
	if round == 1 {
		worst *= 3
	}
	if rms, _ := n.limbFit(); len(n.rims) == 0 || rms > worst {
		n.limb, n.rims = circle{}, nil
	}
}
