package survey

import (
	"fmt"
	"math"
	"time"

	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// Grid is how the Moon is shot: panels in their order, and what becomes of the view meanwhile.
type Grid struct {
	Panels             []Panel
	Rows               int
	WidthArcmin        float64 // of the field that all frames of a clip show
	HeightArcmin       float64
	OverlapX, OverlapY float64 // shares of the field's width and height
	LeftX, LeftY       float64 // of them after drift, turn of the field and stated errors of aim
	BearsArcmin        float64 // error of aim, r.m.s. along each axis, with which the grid closes in 99 nights of 100
	RimArcmin          float64 // by which it reaches beyond the ground
	CameraDeg          float64 // position angle of the camera's up in the middle of the session

	Length     time.Duration
	Frames     int64 // in all; 0 where no rate is stated
	Bytes      int64 // in all; 0 where no rate is stated
	FrameBytes int64

	DriftArcsec  float64       // while a clip lasts
	FieldTurnDeg float64       // of the camera on the sky from the first to the last panel
	FieldRate    float64       // degrees an hour in the middle
	GroundPx     float64       // that ground in the disk's middle moves against the limb from the first to the last panel
	GroundKM     float64       // the same on the Moon
	GroundKnown  bool          // it is reckoned for a site
	Until        time.Duration // until it has moved by How.TurnPx; 0 where nothing is known of it
	Brightest    int           // number of the panel with the brightest ground; 0 where that is not told
}

// lay lays the grid for a session about Ref; without one it says why.
func (r *Report) lay() {
	r.Grid, r.NoGrid = nil, ""
	o := r.Optics
	switch {
	case r.SunApartDeg < leastSunDeg:
		r.NoGrid = "the Moon stands too near to the Sun"
	case r.Sky != nil && r.Window == nil:
		r.NoGrid = "the Moon is nowhere high enough"
	case o == nil || o.WidthArcmin == 0 || o.HeightArcmin == 0:
		r.NoGrid = "the manifest does not say how large the field is"
	}
	if r.NoGrid != "" {
		return
	}
	every := seconds(r.How.ClipS + r.How.PauseS)
	g := &Grid{Length: every}
	for range 12 {
		m, err := r.mesh(g.Length)
		if err != nil {
			r.NoGrid = err.Error() + r.shorter()
			return
		}
		same := len(m.panels) == len(g.Panels)
		g = r.dated(m, every)
		if same {
			break
		}
	}
	r.fill(g)
	r.Grid = g
}

// start is when the first clip begins.
func (r *Report) start(length time.Duration) time.Time {
	if r.Window != nil {
		return r.Window.From
	}
	return r.Ref.Add(-length / 2)
}

// upDeg is the position angle of the camera's up.
func (r *Report) upDeg(t time.Time) float64 {
	up := 0.0
	if c := r.Night.Camera; c != nil {
		up = c.AngleDeg
	}
	if r.turns() {
		up += r.Sky.at(t).View.Horizon.ParallacticDeg
	}
	return up
}

// turns tells whether the camera turns on the sky.
func (r *Report) turns() bool {
	return r.Sky != nil && r.Night.Mount == "altaz"
}

// ratePerHour is by how many degrees an hour the camera turns on the sky.
func (r *Report) ratePerHour(t time.Time) float64 {
	return 30 * around(r.upDeg(t.Add(time.Minute))-r.upDeg(t.Add(-time.Minute)))
}

// mesh lays the grid for a session of a length.
func (r *Report) mesh(length time.Duration) (mesh, error) {
	start := r.start(length)
	every := r.How.ClipS + r.How.PauseS
	l := layout{width: r.Optics.WidthArcmin, height: r.Optics.HeightArcmin, overlap: r.How.Overlap, errors: r.How.PointingErrorArcmin}
	fastest := 0.0
	for i := range 9 {
		fastest = max(fastest, math.Abs(r.ratePerHour(start.Add(length*time.Duration(i)/8))))
	}
	l.turn = fastest / 3600 * every * degree
	for i := range 5 {
		t := start.Add(length * time.Duration(i) / 4)
		if !r.turns() && i > 0 {
			break
		}
		v, up := r.View, frame(r.upDeg(t))
		if r.Sky != nil {
			v = r.Sky.at(t).View
		}
		outline := ground(v, r.How.Cover)
		for k, p := range outline {
			outline[k] = up.turn(p)
		}
		l.ground = append(l.ground, outline)
		d := up.turn(r.drift(t))
		clip := r.How.ClipS / 60 // arcsec a second become arcmin a clip
		l.lostX, l.lostY = max(l.lostX, math.Abs(d.x)*clip), max(l.lostY, math.Abs(d.y)*clip)
	}
	return l.lay()
}

// drift is how fast the Moon moves through a field that is not guided after it, in arcsec a second east and north.
func (r *Report) drift(t time.Time) spot {
	if r.Night.Tracking != "sidereal" && r.Night.Tracking != "none" {
		return spot{}
	}
	place := func(t time.Time) moon.Place {
		if r.Sky == nil {
			return moon.Moon(at(t))
		}
		return r.Sky.site.View(at(t)).Place
	}
	a, b := place(t.Add(-time.Minute)), place(t.Add(time.Minute))
	_, c := portable.Sincos(b.DeclinationDeg * degree)
	east := around(b.RightAscensionDeg-a.RightAscensionDeg) * 3600 / 120
	if r.Night.Tracking == "none" {
		east -= siderealRate
	}
	return spot{east * c, (b.DeclinationDeg - a.DeclinationDeg) * 3600 / 120}
}

// shorter says how long clips may be where the Moon drifts through the field: so that they lose at most a quarter of its short side.
func (r *Report) shorter() string {
	d := r.drift(r.Ref)
	rate := portable.Hypot(d.x, d.y)
	if rate == 0 {
		return ""
	}
	most := min(r.Optics.WidthArcmin, r.Optics.HeightArcmin) * 60 / 4 / rate
	if most >= r.How.ClipS {
		return ""
	}
	return fmt.Sprintf("; clips of at most %.2g s would do", most)
}

// siderealRate is how fast the sky turns, in arcsec a second.
const siderealRate = 15.041067

// dated gives panels their times and their places on the sky.
func (r *Report) dated(m mesh, every time.Duration) *Grid {
	g := &Grid{Panels: m.panels, Rows: m.rows, OverlapX: m.overlapX, OverlapY: m.overlapY, LeftX: m.leftX, LeftY: m.leftY,
		BearsArcmin: m.bears, RimArcmin: m.rim}
	g.Length = every*time.Duration(len(g.Panels)) - seconds(r.How.PauseS)
	start := r.start(g.Length)
	for i := range g.Panels {
		p := &g.Panels[i]
		p.At = start.Add(every * time.Duration(i))
		p.CameraDeg = around(r.upDeg(p.At.Add(seconds(r.How.ClipS / 2))))
		on := frame(p.CameraDeg).turn(p.aim)
		p.EastArcmin, p.NorthArcmin = on.x, on.y
		p.RightFields, p.UpFields = p.aim.x/r.Optics.WidthArcmin, p.aim.y/r.Optics.HeightArcmin
	}
	return g
}

// fill tells the rest of a session.
func (r *Report) fill(g *Grid) {
	from := r.start(g.Length)
	to, mid := from.Add(g.Length), from.Add(g.Length/2)
	c := r.Night.Camera
	g.CameraDeg = around(r.upDeg(mid))
	g.FrameBytes = int64(c.WidthPX) * int64(c.HeightPX)
	if c.Bits > 8 {
		g.FrameBytes *= 2
	}
	if c.RateHz > 0 {
		frames := int64(math.Round(c.RateHz * r.How.ClipS))
		g.Frames = frames * int64(len(g.Panels))
		g.Bytes = (178 + frames*(g.FrameBytes+8)) * int64(len(g.Panels)) // header and time stamps of SER
	}
	d := r.drift(mid)
	g.DriftArcsec = portable.Hypot(d.x, d.y) * r.How.ClipS
	g.WidthArcmin, g.HeightArcmin = r.Optics.WidthArcmin, r.Optics.HeightArcmin
	if turned := frame(r.upDeg(mid)).turn(d); r.How.ClipS > 0 {
		g.WidthArcmin -= math.Abs(turned.x) * r.How.ClipS / 60
		g.HeightArcmin -= math.Abs(turned.y) * r.How.ClipS / 60
	}
	if r.Sky != nil {
		g.FieldRate = r.ratePerHour(mid)
		for i := range 8 {
			a, b := from.Add(g.Length*time.Duration(i)/8), from.Add(g.Length*time.Duration(i+1)/8)
			g.FieldTurnDeg += around(r.upDeg(b) - r.upDeg(a))
		}
		r.groundTurn(g, from, mid, to)
	}
	r.mark(g)
}

// groundTurn tells how far the Moon itself turns under the observer.
func (r *Report) groundTurn(g *Grid, from, mid, to time.Time) {
	view := func(t time.Time) moon.View { return r.Sky.site.View(at(t)) }
	g.GroundKnown = true
	g.GroundKM = moon.RadiusKM * sideways(view(to), view(from))
	px := r.View.SemidiameterArcsec / r.Optics.ScaleArcsec
	g.GroundPx = px * sideways(view(to), view(from))
	const about = 10 * time.Minute
	if rate := px * sideways(view(mid.Add(about)), view(mid.Add(-about))) / about.Seconds() / 2; rate > 0 {
		g.Until = seconds(r.How.TurnPx / rate)
	}
}

// sideways is how far ground in the middle of one view lies from the middle of another, in radii of the Moon.
func sideways(v, w moon.View) float64 {
	a := v.Against(w)
	return portable.Hypot(a.EastDeg, a.NorthDeg) * degree
}

// seconds is a duration.
func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
