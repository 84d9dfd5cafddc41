package mosaic

import (
	"math"
	"testing"

	"plenilune/steps/kernel/moon"
)

// A ball that turns while a disk is shot: over the panels its middle moves by 9 px against the limb, and the field of an altazimuth mount
// by 30°. It stands low, so that the air squashes it.
const (
	ballNorth = 25 * deg // the Moon's north from up
	ballTurn  = 2.2      // degrees

	ballPanels = 16
)

// ballViews are the views of the panels, one after the other.
func ballViews(n int) []viewSettings {
	out := make([]viewSettings, n)
	for i := range out {
		t := float64(i)/float64(n-1) - 0.5
		out[i] = viewSettings{Known: true, EastDeg: ballTurn * t, NorthDeg: 0.4*ballTurn*t*t - 0.1, UprightDeg: 30 * t, DistanceKM: 380000,
			Squash: 0.006 + 0.004*t, ZenithDeg: 40 - 30*t}
	}
	return out
}

// ballShots takes diskShots of a turning ball.
func ballShots(t *testing.T, g *ground, mirrored bool) ([]shot, placeSettings) {
	t.Helper()
	shots := diskShots()
	set := placeSettings{Epoch: epochSettings{DistanceKM: 380000}, Views: ballViews(len(shots))}
	h := flip(mirrored)
	sin, cos := math.Sincos(ballNorth)
	disk := similarity{A: g.disk.R * cos, B: g.disk.R * sin, X: g.disk.X, Y: g.disk.Y}
	for i, v := range set.Views {
		c, err := moon.NewCarry(v.aspect().Disk(), moon.DiskOf(0, 0, 380000), 0)
		if err != nil {
			t.Fatal(err)
		}
		shots[i].pose.Turn -= h * v.UprightDeg * deg
		shots[i].unixNS = int64(i+1) * 6e11
		shots[i].sees = func(x, y float64) (float64, float64) {
			u, p := disk.inverse().at(x, y)
			// North through east is to the left of up, where nothing is mirrored.
			sin, cos := math.Sincos(v.ZenithDeg * deg)
			up := (-u*sin + h*p*cos) * v.Squash / (1 - v.Squash)
			u, p = u-up*sin, p+h*up*cos
			u, v := c.At(u, h*p)
			return disk.at(u, h*v)
		}
	}
	return shots, set
}

// groundError returns the similarity from the picture to the ground, and how far, rms and at the most, ground in the panels lies
// from where it should, in pixels.
func (n *night) groundError(disk *circle) (s similarity, rms, worst float64) {
	var pts []pointPair
	for i := range n.geometry.Panels {
		p := &n.geometry.Panels[i]
		if err := p.Globe.ready(); err != nil || !p.Placed {
			return s, math.Inf(1), math.Inf(1)
		}
		for y := 5; y < p.H; y += 15 {
			for x := 5; x < p.W; x += 15 {
				bx, by := n.shots[i].ground(float64(x), float64(y))
				if math.Hypot(bx-disk.X, by-disk.Y) > disk.R-8 {
					continue
				}
				u, v := p.Globe.carried(float64(x), float64(y))
				dx, dy := p.Bend.at(u, v)
				u, v = p.toMosaic().at(u, v)
				pts = append(pts, pointPair{u + dx, v + dy, bx, by})
			}
		}
	}
	s, _ = fitSimilarity(pts, nil)
	sum := 0.0
	for _, p := range pts {
		x, y := s.at(p.AX, p.AY)
		d := math.Hypot(x-p.BX, y-p.BY)
		sum, worst = sum+d*d, max(worst, d)
	}
	return s, math.Sqrt(sum / float64(len(pts))), worst
}

func TestTurningBall(t *testing.T) {
	g := diskGround()
	for _, mirrored := range []bool{false, true} {
		shots, set := ballShots(t, g, mirrored)
		n := joinWith(t, g, shots, 2, set, "auto")
		s := n.geometry.Sphere
		if !s.Carried || s.Mirrored != mirrored || s.Mount != mountAltaz {
			t.Errorf("carried %v, mirrored %v, mount %s; want true, %v, altaz", s.Carried, s.Mirrored, s.Mount, mirrored)
		}
		// The picture stands as its middle panel does.
		toGround, rms, worst := n.groundError(g.disk)
		if off := wrap(s.NorthDeg*deg + toGround.turn() - ballNorth); math.Abs(off) > 3*deg {
			t.Errorf("north is %.2f° off, want ≤ 3°", off/deg)
		}
		if math.Abs(s.Share-1) > 0.05 {
			t.Errorf("%.3f of the ball's turn found", s.Share)
		}
		// The Moon's diameter at 380 000 km over the disk's.
		if want := 2 * math.Asin(1737.4/380000) / deg * 3600 / 460; math.Abs(n.placements.Scale/want-1) > 0.002 || n.placements.Estimated {
			t.Errorf("scale %.4f arcsec/px, estimated %v; want %.4f, exact", n.placements.Scale, n.placements.Estimated, want)
		}
		n.outlinesReturn(t)
		turned := math.Abs(shots[len(shots)-1].pose.Turn-shots[0].pose.Turn) / deg
		if math.Abs(s.FoundDeg-turned) > 0.1 || math.Abs(s.ForetoldDeg-30) > 1e-9 {
			t.Errorf("the field turned by %.2f°, foretold %.2f°, want %.2f° and 30°", s.FoundDeg, s.ForetoldDeg, turned)
		}
		if rms > 0.06 || worst > 0.4 {
			t.Errorf("ground lies %.3f px off rms, %.3f at the most, want 0.06 and 0.4", rms, worst)
		}
		if l := n.placements.Limb; !l.Found || math.Abs(l.Radius*toGround.scale()-230) > 0.3 {
			t.Errorf("limb %+v, want a radius of 230 px", l)
		}
		if psnr := n.psnr(g, toGround); psnr < 50 {
			t.Errorf("the picture has %.1f dB, want 50", psnr)
		}
	}
}

func TestTurningBallWithoutSite(t *testing.T) {
	g := diskGround()
	shots, _ := ballShots(t, g, false)
	n := join(t, g, shots, 2)
	if n.geometry.Sphere.Carried {
		t.Error("panels are carried without a site")
	}
	toGround, rms, _ := n.groundError(g.disk)
	if rms < 0.3 {
		t.Errorf("ground lies %.3f px off rms: the ball hardly turned, and the other test proves nothing", rms)
	}
	if psnr := n.psnr(g, toGround); psnr > 40 {
		t.Errorf("the picture has %.1f dB without regard to the ball's turn", psnr)
	}
}

// TestStatedNorth states north 10° off, and mirrored against what the field's turn says.
func TestStatedNorth(t *testing.T) {
	g := diskGround()
	shots, set := ballShots(t, g, false)
	set.North = orientSettings{Stated: true, NorthDeg: -(ballNorth/deg - 10)}
	n := joinWith(t, g, shots, 2, set, "auto")
	// Stated 10° off, with the middle panel's own turn of some 1° besides, it comes out between that and the truth.
	toGround, rms, _ := n.groundError(g.disk)
	off := wrap(n.geometry.Sphere.NorthDeg*deg+toGround.turn()-ballNorth) / deg
	if !n.geometry.Sphere.Carried || off > -2 || off < -12 {
		t.Errorf("north comes out %.1f° off: %+v", off, n.geometry.Sphere)
	}
	if rms > 0.15 {
		t.Errorf("ground lies %.3f px off rms, want 0.15", rms)
	}
	set.North.Mirrored = true
	if n = joinWith(t, g, shots, 2, set, "auto"); n.geometry.Sphere.Carried && !n.geometry.Sphere.Mirrored {
		t.Error("a stated mirror is not believed")
	}
}

// TestWrongClocks reckons views of a ball that turned by a third of what it did, under a mount that it was not.
func TestWrongClocks(t *testing.T) {
	g := diskGround()
	shots, set := ballShots(t, g, false)
	for i := range set.Views {
		v := &set.Views[i]
		v.EastDeg, v.NorthDeg = v.EastDeg/3, v.NorthDeg/3
	}
	set.Mount = mountEquatorial
	n := joinWith(t, g, shots, 2, set, "auto")
	if n.geometry.Sphere.Carried || n.warned("view-differs") != 1 {
		t.Errorf("a turn three times that reckoned is believed, or not told: %+v", n.geometry.Sphere)
	}
	if n.warned("field-turn-differs") != 1 {
		t.Errorf("a field that turns on an equatorial mount is not told: %+v", n.geometry.Sphere)
	}
}

// TestOneWrongClock reckons the view of one panel for 70 minutes later than it was taken, on an altazimuth mount: it alone is named, with by how
// much, and carried by when it was taken.
func TestOneWrongClock(t *testing.T) {
	g := diskGround()
	shots, set := ballShots(t, g, false)
	const odd, as = 5, 12
	set.Views[odd], shots[odd].unixNS = set.Views[as], shots[as].unixNS+1e9
	n := joinWith(t, g, shots, 2, set, "auto")
	s := n.geometry.Sphere
	if !s.Carried || len(s.Odd) != 1 || s.Odd[0].Panel != odd || n.warned("clock-differs") != 1 || n.warned("field-turn-differs") != 0 {
		t.Fatalf("odd clocks %+v, carried %v, warnings %v; want that of panel %d alone", s.Odd, s.Carried, n.warnings, odd)
	}
	if want := 30.0 * (as - odd) / (ballPanels - 1); math.Abs(math.Abs(s.Odd[0].Deg)-want) > 1 {
		t.Errorf("it is said to be turned by %.2f°, want %.2f°", s.Odd[0].Deg, want)
	}
	if o := s.Odd[0]; !o.Told || math.Abs(o.Minutes+70) > 5 {
		t.Errorf("it is said to be taken %.1f min later (%v), want 70 min earlier", o.Minutes, o.Told)
	}
	toGround, rms, _ := n.groundError(g.disk)
	if off := wrap(s.NorthDeg*deg + toGround.turn() - ballNorth); math.Abs(off) > 3*deg {
		t.Errorf("north is %.2f° off, want ≤ 3°", off/deg)
	}
	if rms > 0.06 {
		t.Errorf("ground lies %.3f px off rms, want 0.06", rms)
	}
}

// A camera turned by half a turn, or turned once and left so, is no clock that is wrong.
func TestTurnedCameraIsNoWrongClock(t *testing.T) {
	for _, c := range []struct {
		what string
		turn func(i int) float64
	}{{"half a turn", func(i int) float64 { return float64(i/8) * math.Pi }}, {"by 25° towards the end", func(i int) float64 { return float64(i/13) * 25 * deg }}} {
		n := &network{sphere: &sphere{views: ballViews(ballPanels)}}
		var times []int64
		for i, v := range n.sphere.views {
			n.in, n.poses = append(n.in, true), append(n.poses, pose{Turn: v.UprightDeg*deg + c.turn(i), Scale: 1})
			times = append(times, int64(i+1)*6e11)
		}
		if n.doubtClocks(times); n.odd != nil {
			t.Errorf("%s: clocks of %+v are doubted", c.what, n.odd)
		}
	}
}

func TestGlobeAndBack(t *testing.T) {
	g := globe{Known: true, EpochKM: 384400, View: viewSettings{Known: true, EastDeg: 0.7, NorthDeg: -0.4, DistanceKM: 381000}}
	g.Disk = similarity{A: 0.002, B: 0.0005, X: -0.3, Y: -0.8}
	g.Pixel = g.Disk.inverse()
	if err := g.ready(); err != nil {
		t.Fatal(err)
	}
	for y := 0.0; y < 300; y += 12 {
		for x := 0.0; x < 400; x += 16 {
			u, v := g.carried(x, y)
			px, py := g.pixel(u, v)
			if d := math.Hypot(px-x, py-y); d > 1e-3 {
				t.Fatalf("pixel %.0f, %.0f comes back %.4f px off", x, y, d)
			}
		}
	}
	// What lies at the sub-observer point of the epoch is seen, by the panel, where that point is on its disk.
	x, y := g.Disk.inverse().at(0, 0)
	px, py := g.pixel(x, y)
	wx, wy, _ := g.View.aspect().Disk().Project(moon.At(0, 0))
	wx, wy = g.Pixel.at(wx, -wy)
	if d := math.Hypot(px-wx, py-wy); d > 1e-9 {
		t.Errorf("the middle of the epoch's disk is read %.4f px off", d)
	}
}

// A panel that is carried over the sphere covers the map where it is drawn, and there lie the places at which its brightness is compared.
func TestMappingOfACarriedPanel(t *testing.T) {
	g := globe{Known: true, EpochKM: 384400, View: viewSettings{Known: true, EastDeg: 2.5, NorthDeg: -1, DistanceKM: 381000}}
	g.Disk = similarity{A: 0.004, X: -0.4, Y: -0.3}
	g.Pixel = g.Disk.inverse()
	p := placed{W: 200, H: 150, Placed: true, X: 140, Y: 120, Scale: 1, Globe: g}
	m, err := p.mapping()
	if err != nil {
		t.Fatal(err)
	}
	v := make([]float32, p.W*p.H) // one bright pixel, wide enough to be met
	const px, py = 60, 100
	for y := -2; y <= 2; y++ {
		for x := -2; x <= 2; x++ {
			v[(py+y)*p.W+px+x] = 1
		}
	}
	x, y := m.at(px, py)
	if sx, sy := p.toMosaic().at(px, py); math.Hypot(x-sx, y-sy) < 5 {
		t.Fatalf("the carry moves a pixel by only %.2f px: the test proves nothing", math.Hypot(x-sx, y-sy))
	}
	c := mapFor(geometry{Width: 300, Height: 250})
	seen := c.glimpse(panel{p.W, p.H, v}, panel{p.W, p.H, make([]float32, len(v))}, m, tonalRange{})
	var n, sx, sy float64
	for k, v := range seen.v {
		if v > 0.5 {
			cx, cy := c.middle(seen.x0+k%seen.w, seen.y0+k/seen.w)
			n, sx, sy = n+1, sx+cx, sy+cy
		}
	}
	if n < 9 || math.Hypot(sx/n-x, sy/n-y) > 1 {
		t.Errorf("the map shows the pixel in %.0f cells about %.1f, %.1f, want %.1f, %.1f", n, sx/n, sy/n, x, y)
	}
	b := blocksOf(panel{p.W, p.H, v}, m)
	best := 0
	for k, v := range b.mean {
		if v > b.mean[best] || b.mean[best] != b.mean[best] {
			best = k
		}
	}
	u, w := sensorPlace(px, py, p.W, p.H)
	if d := math.Hypot(b.u[best]-u, b.v[best]-w); d > 0.06 { // half a block is 0.032 either way
		t.Errorf("its block is said to lie at %.3f, %.3f of the sensor, want about %.3f, %.3f", b.u[best], b.v[best], u, w)
	}
}

func TestViewsAt(t *testing.T) {
	site := moon.Site{LatitudeDeg: 40, LongitudeDeg: -75}
	const start = 1548046800 * 1000000000 // 2019-01-21 05:00 UTC
	epoch, views := viewsAt(site, []int64{start - 3600e9, 0, start + 3600e9, start})
	// See testdata/vectors/moon/views.tsv.
	if math.Abs(epoch.LonDeg+1.41) > 0.011 || math.Abs(epoch.LatDeg+0.14) > 0.011 || math.Abs(epoch.DistanceKM-351734.8) > 12 {
		t.Errorf("epoch %+v, want -1.41°, -0.14°, 351735 km", epoch)
	}
	if views[1].Known {
		t.Error("a clip without a time has a view")
	}
	if v := views[3]; v.EastDeg != 0 || v.NorthDeg != 0 || v.UprightDeg != 0 {
		t.Errorf("at the epoch the view is %+v", v)
	}
	before, after := site.View(moon.Unix(start-3600e9)), site.View(moon.Unix(start+3600e9))
	if got, want := views[2].EastDeg-views[0].EastDeg, after.SubLonDeg-before.SubLonDeg; math.Abs(got-want) > 0.002 {
		t.Errorf("the view moved by %.4f° east, want %.4f°", got, want)
	}
	if _, v := viewsAt(site, []int64{0, 0}); v != nil {
		t.Error("views without times")
	}
}

// One clip with a clock of another month neither moves the epoch nor is carried; those about it are.
func TestOneOddClock(t *testing.T) {
	site := moon.Site{LatitudeDeg: 47, LongitudeDeg: 8, ElevationM: 400}
	const hour = int64(3600e9)
	start := int64(1742086800e9)
	times := []int64{start, start + hour, start + 2*hour, start + 20*24*hour, 0}
	epoch, views := viewsAt(site, times)
	alone, _ := viewsAt(site, []int64{start + 3*hour/2})
	if epoch != alone {
		t.Errorf("the epoch is that of %+v, want that of the middle clips, %+v", epoch, alone)
	}
	for i, want := range []bool{true, true, true, false, false} {
		if views[i].Known != want {
			t.Errorf("clip %d: known %v, want %v", i, views[i].Known, want)
		}
	}
}
