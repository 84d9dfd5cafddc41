package finish

import (
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/gazetteer"
	"plenilune/steps/kernel/lettering"
	"plenilune/steps/kernel/moon"
)

// Places of the finished picture and of the source are each other's, under every turn.
func TestFrameThereAndBack(t *testing.T) {
	for _, north := range []string{"up", "down", asShot} {
		for _, deg := range []float64{0, 2, 37.5, 90, -91, 180, -135} {
			for _, mirrored := range []bool{false, true} {
				for _, cut := range []bool{false, true} {
					f := frameFor(300, 200, orientation{true, deg, mirrored, 0}, north)
					if cut {
						f = f.toDisk(limb{true, 140, 90, 80}, 5)
					}
					for _, p := range [][2]float64{{0, 0}, {299, 199}, {17, 160}} {
						x, y := f.fromSource(p[0], p[1])
						if bx, by := f.ToSource.Apply(x, y); math.Hypot(bx-p[0], by-p[1]) > 1e-9 {
							t.Errorf("%s, %g°, mirrored %v: %v came back as %g, %g", north, deg, mirrored, p, bx, by)
						}
						if !cut && (x < -0.51 || y < -0.51 || x > float64(f.W)-0.49 || y > float64(f.H)-0.49) {
							t.Errorf("%s, %g°, mirrored %v: %v lies at %g, %g of %d×%d px", north, deg, mirrored, p, x, y, f.W, f.H)
						}
					}
				}
			}
		}
	}
}

// However a disk lies, its north is at the top afterwards and its east to the right; or the other way round with north down.
func TestNorthIsUp(t *testing.T) {
	disk := limb{true, 140, 90, 80}
	for north, sign := range map[string]float64{"up": 1, "down": -1} {
		for _, deg := range []float64{0, 37.5, 90, -91.5, 180} {
			for _, mirrored := range []bool{false, true} {
				o := orientation{true, deg, mirrored, 0}
				f := frameFor(300, 200, o, north).toDisk(disk, 5)
				if f.W != 176 || f.H != 176 {
					t.Fatalf("%d×%d px, want 176: 160 and a twentieth on each side", f.W, f.H)
				}
				for _, p := range [][2]float64{{0, 1}, {1, 0}, {0, 0}, {-0.6, 0.6}} {
					x, y := f.fromSource(o.shown(disk, p[0], p[1]))
					wx, wy := 87.5+sign*80*p[0], 87.5-sign*80*p[1]
					if math.Hypot(x-wx, y-wy) > 0.75 { // an exact frame is laid on whole pixels
						t.Errorf("north %s, %g°, mirrored %v: %v lies at %.2f, %.2f, want %.2f, %.2f", north, deg, mirrored, p, x, y, wx, wy)
					}
				}
			}
		}
	}
}

// toned runs the part on a ramp with a straight line for a curve, so that the result tells which pixel came where.
func toned(t *testing.T, p pipelinetest.Plane, lay layoutTable) pipelinetest.Plane {
	l := levelsTable{Black: []float64{0}, Gain: []float64{1}, White: 1, Large: 1}
	r := pipelinetest.Run(t, pipeline.Part{Name: "tone", Settings: toneSettings{0, 1}, Out: []string{"image"}, Run: pipeline.Bind(runTone)},
		map[string][]any{"image": {p}, "levels": {l}, "layout": {lay}})
	return r.Plane("image")
}

// Quarter turns and mirror images move pixels and touch no value, across tiles.
func TestQuarterTurnsAreExact(t *testing.T) {
	const w, h = 300, 270
	p := pipelinetest.Plane{W: w, H: h, Pix: [][]float32{make([]float32, w*h)}}
	for i := range p.Pix[0] {
		p.Pix[0][i] = float32(i) / (w * h)
	}
	p.Pix[0][5] = float32(math.NaN())
	asItIs := toned(t, p, layoutTable{frame: frameFor(w, h, orientation{}, asShot)})
	for _, c := range []struct {
		deg      float64
		mirrored bool
		at       func(x, y int) (int, int) // of the source
		wide     int
	}{
		{180, false, func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }, w},
		{0, true, func(x, y int) (int, int) { return w - 1 - x, y }, w},
		// north to the left, anticlockwise from the top: the left column becomes the top row
		{90, false, func(x, y int) (int, int) { return y, h - 1 - x }, h},
		{-90, true, func(x, y int) (int, int) { return w - 1 - y, h - 1 - x }, h},
	} {
		out := toned(t, p, layoutTable{frame: frameFor(w, h, orientation{true, c.deg, c.mirrored, 0}, "up")})
		if out.W != c.wide || out.W*out.H != w*h {
			t.Fatalf("%g°: %d×%d px", c.deg, out.W, out.H)
		}
		for y := range out.H {
			for x := range out.W {
				u, v := c.at(x, y)
				got, want := out.Pix[0][y*out.W+x], asItIs.Pix[0][v*w+u]
				if got != want && (got == got || want == want) {
					t.Fatalf("%g°, mirrored %v: (%d, %d) is %v, want %v", c.deg, c.mirrored, x, y, got, want)
				}
			}
		}
	}
}

// A turned smooth scene is the scene, and beyond the source there is no data.
func TestTurnOfAnalyticScene(t *testing.T) {
	const w, h = 280, 260
	scene := func(x, y float64) float64 { return 0.3 + 0.1*math.Sin(x*0.21+0.5)*math.Cos(y*0.17-x*0.05) }
	p := pipelinetest.Plane{W: w, H: h, Pix: [][]float32{make([]float32, w*h)}}
	for i := range p.Pix[0] {
		p.Pix[0][i] = float32(scene(float64(i%w), float64(i/w)))
	}
	f := frameFor(w, h, orientation{true, 30, false, 0}, "up")
	out := toned(t, p, layoutTable{frame: f})
	c := newCurve(0, 1)
	seen, none := 0, 0
	for i, v := range out.Pix[0] {
		x, y := f.ToSource.Apply(float64(i%out.W), float64(i/out.W))
		if x < -1 || y < -1 || x > w || y > h {
			none++
			if v == v {
				t.Fatalf("(%d, %d) comes from (%.1f, %.1f) and is %v", i%out.W, i/out.W, x, y, v)
			}
		}
		if x < 3 || y < 3 || x > w-4 || y > h-4 {
			continue
		}
		seen++
		if want := c.at(scene(x, y)); math.Abs(float64(v-want)) > 0.003 {
			t.Fatalf("(%.1f, %.1f) is %v, want %v", x, y, v, want)
		}
	}
	if seen < 60000 || none < 20000 {
		t.Fatalf("%d places seen, %d beyond", seen, none)
	}
}

// Places on the disk, orthographic, from the formula of any almanac, x = cos φ sin(λ−L), y = sin φ cos B − cos φ sin B cos(λ−L), with the
// gazetteer's positions; and in perspective at a distance of the centre of 384,400 km, at ρ = sin t √(1−k²)/(1−k cos t), t from the middle.
func TestNamesStandWhereFeaturesAre(t *testing.T) {
	places := map[string][2][2]float64{ // seen from over (0, 0) and over (−1.23°, +4.20°)
		"Tycho": {{-.14161, -.68582}, {-.12625, -.73647}}, "Copernicus": {{-.33850, .16711}, {-.31855, .09833}},
		"Plato": {{-.10119, .78391}, {-.08802, .73679}}, "Langrenus": {{.86452, -.15402}, {.87459, -.18728}},
		"Grimaldi": {{-.92542, -.09376}, {-.91733, -.12185}},
	}
	const radius = 2000.0
	for k, from := range [][2]float64{{0, 0}, {-1.23, 4.20}} {
		for _, km := range []float64{math.Inf(1), 384400} {
			c := brightChart(radius, moon.DiskOf(from[0], from[1], km))
			names := c.names(gazetteer.Features(), 400, 0)
			found := 0
			for _, n := range names {
				want, ok := places[n.Text]
				if !ok {
					continue
				}
				found++
				x, y := want[k][0], want[k][1]
				r := math.Hypot(x, y)
				near := moon.RadiusKM / km
				grow := math.Sqrt(1-near*near) / (1 - near*math.Sqrt(1-r*r))
				wx, wy := c.limb.X+radius*grow*x, c.limb.Y-radius*grow*y
				if d := math.Hypot(n.X-wx, n.Y-wy); d > 0.25 { // the positions above are to 1e-5 and 2e-5 of the ground
					t.Errorf("%s stands %.2f px off, at a disk of %g px", n.Text, d, 2*radius)
				}
			}
			if found != len(places) {
				t.Errorf("%d of %d names were written", found, len(places))
			}
		}
	}
}

// brightChart is a disk that is lit everywhere, north up.
func brightChart(radius float64, d moon.Disk) *chart {
	side := int(2.2 * radius)
	l := &lightTable{Width: side, Height: side, Cell: side, W: 1, H: 1, Light: []int{500}}
	disk := limb{true, float64(side-1) / 2, float64(side-1) / 2, radius}
	o := orientation{true, 0, false, 0}
	return &chart{frame: frameFor(side, side, o, "up"), limb: disk, lies: o, disk: d, light: l, size: 1}
}

// No name overlaps another or the scale bar, or runs off the picture, by the ink itself.
func TestNamesDoNotOverlap(t *testing.T) {
	for _, radius := range []float64{150, 400, 1500} {
		c := brightChart(radius, moon.DiskOf(3, -5, 370000))
		bar := newBar(c.frame.W, c.frame.H, 2, 20, func(x, y float64) float64 { return 0 })
		c.taken = append(c.taken, bar.box())
		names := c.names(gazetteer.Features(), 5000, 0)
		if len(names) < 20 {
			t.Errorf("radius %g: only %d names", radius, len(names))
		}
		inked := make([]int, c.frame.W*c.frame.H)
		write := func(who int, m lettering.Mask) {
			for i, v := range m.Ink {
				x, y := m.X+i%m.W, m.Y+i/m.W
				if v == 0 {
					continue
				}
				if x < 0 || y < 0 || x >= c.frame.W || y >= c.frame.H {
					t.Fatalf("radius %g: name %d runs off the picture", radius, who)
				}
				if other := inked[y*c.frame.W+x]; other != 0 && other != who {
					t.Fatalf("radius %g: %d and %d overlap", radius, other, who)
				}
				inked[y*c.frame.W+x] = who
			}
		}
		for _, m := range bar.masks() {
			write(-1, m)
		}
		for i, n := range names {
			m := lettering.Draw(n.Text, n.style(), n.Px)
			m.X, m.Y = m.X+n.Left, m.Y+n.Base
			write(i+1, m)
		}
	}
}

// Only what is lit is named: with the Sun on the right half, nothing on the left.
func TestNamesInTheLight(t *testing.T) {
	c := brightChart(600, moon.DiskOf(0, 0, 384400))
	c.light = &lightTable{Width: c.frame.W, Height: c.frame.H, Cell: c.frame.W / 2, W: 2, H: 2, Light: []int{3, 600, -1, 600}}
	names := c.names(gazetteer.Features(), 200, 0)
	if len(names) < 20 {
		t.Fatalf("only %d names", len(names))
	}
	for _, n := range names {
		if n.X < c.limb.X {
			t.Errorf("%s is written in the dark at %g", n.Text, n.X)
		}
	}
}

// Larger features have larger names, seas slanted ones, and how many there are can be bounded.
func TestNamesAreSized(t *testing.T) {
	c := brightChart(1500, moon.DiskOf(0, 0, 384400))
	size := map[string]nameRow{}
	for _, n := range c.names(gazetteer.Features(), 0, 0) {
		size[n.Text] = n
	}
	if a, b := size["Mare Imbrium"], size["Tycho"]; a.Px < 1.5*b.Px || !a.Slanted || b.Slanted {
		t.Errorf("Mare Imbrium %+v, Tycho %+v", a, b)
	}
	if n := len(size); n != usualNames {
		t.Errorf("%d names, want %d on a disk of usual size", n, usualNames)
	}
	for name := range size {
		if lettered(name) && name != "Mösting A" && name != "Byrgius A" {
			t.Errorf("%s is named", name)
		}
	}
	if n := len(brightChart(1500, moon.DiskOf(0, 0, 384400)).names(gazetteer.Features(), 7, 300)); n != 7 {
		t.Errorf("%d names, want 7", n)
	}
	for _, n := range brightChart(1500, moon.DiskOf(0, 0, 384400)).names(gazetteer.Features(), 100, 300) {
		for _, f := range gazetteer.Features() {
			if f.Name == n.Text && f.DiameterKM < 300 {
				t.Errorf("%s is only %g km wide", f.Name, f.DiameterKM)
			}
		}
	}
}

func TestRoundKM(t *testing.T) {
	for most, want := range map[float64]float64{1: 1, 1.9: 1, 2: 2, 4.99: 2, 5: 5, 730: 500, 0.03: 0.02, 1000: 1000} {
		if got := roundKM(most); math.Abs(got-want) > 1e-9*want {
			t.Errorf("at most %g km: %g, want %g", most, got, want)
		}
	}
}

// At the mean distance the middle of the disk shows 1.8552 km an arcsecond of the Moon's centre's distance (1737.4 km and 384,400 km); the
// ground is the Moon's radius nearer, and so appears larger by 1/(1 − 1737.4/384400).
func TestScaleOfTheGround(t *testing.T) {
	s := &sight{km: 384400}
	s.placements.Limb = arc{limb{true, 500, 500, 932.28}, 180} // px, of 1″: asin(1737.4/384400) is 932.28″
	var l layoutTable
	l.frame = frameFor(1000, 1000, orientation{}, asShot)
	s.scale(&l)
	if want := 1.8636 * (1 - 1737.4/384400); math.Abs(l.KMPerPx/want-1) > 1e-4 { // 384,400 km of 1″ are 1.8636 km
		t.Errorf("%.5f km/px, want %.5f", l.KMPerPx, want)
	}
}
