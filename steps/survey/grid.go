package survey

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"plenilune/steps/kernel/portable"
)

// Panel is one field to be shot: where it is aimed, and when its clip begins.
type Panel struct {
	Number      int
	Row         int // from 1, the camera's uppermost
	At          time.Time
	EastArcmin  float64 // of the disk's middle, at that time
	NorthArcmin float64
	RightFields float64 // the same in the camera's picture, not mirrored, in widths and heights of the field
	UpFields    float64
	CameraDeg   float64 // position angle of the camera's up, then
	Landmark    string  // a large feature near its middle; may be empty
	aim         spot    // right and up, arcmin
	brightness  float64 // of its ground, relative
}

// layout is what a grid is made from. Lengths are in arcmin, in the camera's axes.
type layout struct {
	width, height float64  // of the field
	lostX, lostY  float64  // of it while a clip lasts: what only some frames show
	overlap       float64  // share of the field's sides
	errors        *float64 // of aim along each axis, r.m.s.; nil: not stated
	turn          float64  // of the camera on the sky from one clip to the next, radians, at most
	ground        area
}

// mesh is the grid without its times.
type mesh struct {
	panels             []Panel
	rows               int
	overlapX, overlapY float64 // shares of the field's sides
	leftX, leftY       float64 // of them after drift, turn and stated errors of aim
	bears              float64 // arcmin r.m.s. along each axis that an aim may miss
	rim                float64 // arcmin by which the grid reaches beyond the ground
}

// most is the largest overlap that is laid.
const most = 0.8

// mostPanels is how many panels, about, are laid at most.
const mostPanels = 1000

// leastLeft is the share of a side that neighbours share at least after the turn of the field, where nothing is stated of errors of aim.
const leastLeft = 0.05

// lay makes the rows: as few, and in each as few panels, as cover the ground with the overlap asked for, or with more where errors of aim and the
// turn of the camera would leave gaps more often than in one night of a hundred. Beyond the ground they reach by as much as
// the same errors need there; where these are not stated, by as much as suits the overlap.
func (l layout) lay() (mesh, error) {
	w, h := l.width-l.lostX, l.height-l.lostY
	if w < 0.4*l.width || h < 0.4*l.height {
		return mesh{}, errors.New("the Moon drifts through most of the field while a clip lasts")
	}
	n, lossX, lossY := 20, 0.0, 0.0
	for range 60 {
		z := reach(n)
		m := mesh{overlapX: l.overlap, overlapY: l.overlap}
		if l.errors != nil {
			m.rim = float64(z * *l.errors)
			m.overlapX = max(m.overlapX, (float64(math.Sqrt2*m.rim)+lossX)/w)
			m.overlapY = max(m.overlapY, (float64(math.Sqrt2*m.rim)+lossY)/h)
		} else {
			if lossX > 0 || lossY > 0 {
				m.overlapX, m.overlapY = max(m.overlapX, lossX/w+leastLeft), max(m.overlapY, lossY/h+leastLeft)
			}
			m.rim = max(0, min(float64(m.overlapX*w)-lossX, float64(m.overlapY*h)-lossY)) / math.Sqrt2
		}
		if m.overlapX > most || m.overlapY > most {
			return mesh{}, fmt.Errorf("even neighbours that share %.0f %% of a side would leave gaps: aims miss by too much for so small a field, or it turns too fast", 100*most)
		}
		if size := l.ground.size(); (size.x/float64((1-m.overlapX)*w)+1)*(size.y/float64((1-m.overlapY)*h)+1) > mostPanels {
			return mesh{}, fmt.Errorf("fields so small would take more than %d panels", mostPanels)
		}
		m.fill(l.ground, w, h)
		moreX, moreY := m.turnLoss(l.turn, w, h)
		if len(m.panels) == n && moreX <= lossX && moreY <= lossY {
			m.finish(l, w, h, lossX, lossY, z)
			return m, nil
		}
		n, lossX, lossY = max(n, len(m.panels)), max(lossX, moreX), max(lossY, moreY)
		if len(m.panels) < n && moreX <= lossX && moreY <= lossY {
			m.finish(l, w, h, lossX, lossY, z)
			return m, nil
		}
	}
	return mesh{}, errors.New("the camera turns too fast on the sky")
}

// reach is how many standard deviations errors of aim may reach in a grid of n panels, so that in 99.8 of 100 nights none opens a gap: each
// panel has at most four sides of its own, and of a normal deviate the tail beyond z is below exp(−z²/2)/(z√2π).
func reach(n int) float64 {
	z := 3.0
	for range 30 {
		z = math.Sqrt(2 * portable.Log(float64(4*n)/float64(0.002*z*2.5066282746)))
	}
	return z
}

// fill lays rows over the ground, and in each row panels over what its strip shows.
func (m *mesh) fill(ground area, w, h float64) {
	whole, any := ground.within(everywhere)
	if !any {
		return
	}
	rows := evenly(whole.y0, whole.y1, m.rim, h, float64((1-m.overlapY)*h))
	for k := range rows {
		y := rows[len(rows)-1-k] // the uppermost first
		half := float64(h / 2)
		strip := box{math.Inf(-1), y - half, math.Inf(1), y + half}
		part, any := ground.within(strip)
		if !any {
			strip.y0, strip.y1 = strip.y0-m.rim, strip.y1+m.rim
			if part, any = ground.within(strip); !any {
				continue
			}
		}
		m.rows++
		m.row(ground, evenly(part.x0, part.x1, m.rim, w, float64((1-m.overlapX)*w)), y, w, h)
	}
}

// row adds a row's panels from the end that is nearer to the last panel of the row before: so neighbours are shot soon after each other.
func (m *mesh) row(ground area, xs []float64, y, w, h float64) {
	if n := len(m.panels); n > 0 {
		last := m.panels[n-1].aim.x
		if math.Abs(last-xs[0]) > math.Abs(last-xs[len(xs)-1]) {
			slices.Reverse(xs)
		}
	}
	for _, x := range xs {
		a, b := float64(w/2)+m.rim, float64(h/2)+m.rim
		if ground.meets(box{x - a, y - b, x + a, y + b}) {
			m.panels = append(m.panels, Panel{Number: len(m.panels) + 1, Row: m.rows, aim: spot{x, y}})
		}
	}
}

// evenly returns the middles, rising, of as few fields as cover a stretch and a rim at both ends, a step apart and about its middle.
func evenly(from, to, rim, field, step float64) []float64 {
	n := 1
	if over := to - from + float64(2*rim) - field; over > 0 {
		n += int(math.Ceil(over/step - 1e-9))
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = float64((from+to)/2) + float64((float64(i)-float64(float64(n-1)/2))*step)
	}
	return out
}

// turnLoss is how much of the overlaps, in arcmin, the turn of the camera between two neighbours' clips takes: their edges turn about the
// middle of the disk.
func (m *mesh) turnLoss(turn, w, h float64) (x, y float64) {
	for i, p := range m.panels {
		for j, q := range m.panels[i+1:] {
			if q.Row > p.Row+1 {
				break
			}
			a := math.Abs(turn) * float64(j+2) // from the beginning of one clip to the end of the other
			if math.Abs(q.aim.x-p.aim.x) < w && q.Row != p.Row {
				y = max(y, float64(a*(max(math.Abs(p.aim.x), math.Abs(q.aim.x))+float64(w/2))))
			}
			if q.Row == p.Row && math.Abs(q.aim.x-p.aim.x) < w {
				x = max(x, float64(a*(math.Abs(p.aim.y)+float64(h/2))))
			}
		}
	}
	return x, y
}

// finish tells what the overlaps bear.
func (m *mesh) finish(l layout, w, h, lossX, lossY, z float64) {
	spareX, spareY := max(0, float64(m.overlapX*w)-lossX), max(0, float64(m.overlapY*h)-lossY)
	m.bears = min(m.rim/z, min(spareX, spareY)/float64(math.Sqrt2*z))
	err := 0.0
	if l.errors != nil {
		err = *l.errors
	}
	m.leftX = max(0, spareX-float64(math.Sqrt2*z*err)) / l.width
	m.leftY = max(0, spareY-float64(math.Sqrt2*z*err)) / l.height
}
