package survey

import (
	"math"
	"testing"
	"time"

	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.8g, want %.8g ± %.2g", what, got, want, tol)
	}
}

// fullDisk is a whole disk of a radius in arcmin.
func fullDisk(radius float64) area {
	return area{ground(moon.View{SemidiameterArcsec: 60 * radius}, "disk")}
}

// hand is a telescope of 1,800 mm with pixels of 2.9 µm: 206.264806 · 2.9/1800 = 0.332316 arcsec a pixel. A sensor of 1936 × 1096 px shows
// 10.7227 × 6.0703 arcmin, one of 1280 × 960 px 7.0894 × 5.3171.
const handScale = 206.264806 * 2.9 / 1800 / 60

func noErrors() *float64 { return new(float64) }

// TestGridsByHand holds grids to ones worked out on paper, for a disk of 31 arcmin and without errors of aim. A row takes
// 1 + ⌈(chord − field)/step⌉ panels, where the chord is that of the row's edge nearest to the disk's middle.
func TestGridsByHand(t *testing.T) {
	for _, c := range []struct {
		name    string
		w, h    float64
		overlap float64
		rows    []int // panels of each, the uppermost first
		y, x    float64
	}{
		// Step 9.1143 × 5.1598. Rows: 1 + ⌈(31 − 6.0703)/5.1598 = 4.83⌉ = 6, at ±2.5799, ±7.7397, ±12.8994. The inner ones, from −0.455 up, hold
		// the full chord of 31: 1 + ⌈20.277/9.1143 = 2.22⌉ = 4. The next, from 4.7045: chord 29.537, ⌈18.815/9.1143 = 2.06⌉: 4. The outer, from
		// 9.8643: 23.910, ⌈13.187/9.1143 = 1.45⌉: 3. In all 22.
		{"1936 × 1096, 0.15", 1936, 1096, 0.15, []int{3, 4, 4, 4, 4, 3}, 12.8994, 9.1143},
		// Step 7.5059 × 4.2492. Rows: 1 + ⌈24.9297/4.2492 = 5.87⌉ = 7, at 0, ±4.2492, ±8.4985, ±12.7477. Middle: ⌈20.277/7.5059 = 2.70⌉: 4.
		// From 1.2141: 30.905, ⌈2.69⌉: 4. From 5.4633: 29.010, ⌈2.44⌉: 4. From 9.7125: 24.160, ⌈1.79⌉: 3. In all 26.
		{"1936 × 1096, 0.30", 1936, 1096, 0.30, []int{3, 4, 4, 4, 4, 4, 3}, 12.7477, 7.5059},
		// Step 5.3614 × 3.0352. Rows: 1 + ⌈24.9297/3.0352 = 8.21⌉ = 10, at ±1.5176, 4.5527, 7.5879, 10.6230, 13.6582. ⌈20.277/5.3614 = 3.78⌉: 5.
		// From 1.5176: 30.851, ⌈3.75⌉: 5. From 4.5527: 29.632, ⌈3.53⌉: 5. From 7.5879: 27.032, ⌈3.04⌉: 5. From 10.6230: 22.575, ⌈2.21⌉: 4.
		// In all 48.
		{"1936 × 1096, 0.50", 1936, 1096, 0.50, []int{4, 5, 5, 5, 5, 5, 5, 5, 5, 4}, 13.6582, 5.3614},
		// Step 6.0260 × 4.5195. Rows: 1 + ⌈25.6829/4.5195 = 5.68⌉ = 7, at 0, ±4.5195, ±9.0390, ±13.5585. Middle: ⌈23.911/6.0260 = 3.97⌉: 5.
		// From 1.8610: 30.776, ⌈3.93⌉: 5. From 6.3805: 28.252, ⌈3.51⌉: 5. From 10.9000: 22.041, ⌈2.48⌉: 4. In all 33.
		{"1280 × 960, 0.15", 1280, 960, 0.15, []int{4, 5, 5, 5, 5, 5, 4}, 13.5585, 6.0260},
		// Step 4.9626 × 3.7220. Rows: 1 + ⌈25.6829/3.7220 = 6.90⌉ = 8, at ±1.8610, 5.5829, 9.3049, 13.0268. ⌈23.911/4.9626 = 4.82⌉: 6.
		// From 2.9244: 30.443, ⌈4.71⌉: 6. From 6.6464: 28.006, ⌈4.21⌉: 6. From 10.3684: 23.045, ⌈3.22⌉: 5. In all 46.
		{"1280 × 960, 0.30", 1280, 960, 0.30, []int{5, 6, 6, 6, 6, 6, 6, 5}, 13.0268, 4.9626},
		// Step 3.5447 × 2.6585. Rows: 1 + ⌈25.6829/2.6585 = 9.66⌉ = 11, at 0, ±2.6585, …, ±13.2927. Middle and next (from 0): ⌈23.911/3.5447 =
		// 6.75⌉: 8. From 2.6585: 30.541, ⌈6.62⌉: 8. From 5.3171: 29.119, ⌈6.22⌉: 8. From 7.9756: 26.581, ⌈5.50⌉: 7. From 10.6341: 22.554, ⌈4.36⌉: 6.
		// In all 8 + 2 · (8 + 8 + 8 + 7 + 6) = 82.
		{"1280 × 960, 0.50", 1280, 960, 0.50, []int{6, 7, 8, 8, 8, 8, 8, 8, 8, 7, 6}, 13.2927, 3.5447},
	} {
		m, err := layout{width: c.w * handScale, height: c.h * handScale, overlap: c.overlap, errors: noErrors(), ground: fullDisk(15.5)}.lay()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		rows := make([]int, m.rows)
		for _, p := range m.panels {
			rows[p.Row-1]++
		}
		if len(rows) != len(c.rows) {
			t.Errorf("%s: rows %v, want %v", c.name, rows, c.rows)
			continue
		}
		for i := range rows {
			if rows[i] != c.rows[i] {
				t.Errorf("%s: rows %v, want %v", c.name, rows, c.rows)
				break
			}
		}
		near(t, c.name+": uppermost row", m.panels[0].aim.y, c.y, 1e-4)
		near(t, c.name+": step", m.panels[1].aim.x-m.panels[0].aim.x, c.x, 1e-4)
		if m.bears != 0 {
			t.Errorf("%s: bears %v without a rim", c.name, m.bears)
		}
	}
}

// One field that shows all needs no grid, and small errors of aim must not ask for more.
func TestOnePanel(t *testing.T) {
	m, err := layout{width: 40, height: 35, overlap: 0.25, errors: noErrors(), ground: fullDisk(15.5)}.lay()
	if err != nil || len(m.panels) != 1 || m.panels[0].aim != (spot{}) {
		t.Errorf("%+v, %v", m, err)
	}
}

// What is asked too much of is refused.
func TestGridRefuses(t *testing.T) {
	large := 5.0
	for what, l := range map[string]layout{
		"errors of aim as large as the field": {width: 10, height: 6, overlap: 0.25, errors: &large},
		"a field that turns over within rows": {width: 10, height: 6, overlap: 0.25, errors: noErrors(), turn: 0.2},
		"a Moon that drifts out of the field": {width: 10, height: 6, lostX: 7, overlap: 0.25, errors: noErrors()},
		"fields of a few seconds of arc":      {width: 0.1, height: 0.1, overlap: 0.25, errors: noErrors()},
	} {
		l.ground = fullDisk(15.5)
		if m, err := l.lay(); err == nil {
			t.Errorf("%s: a grid of %d panels", what, len(m.panels))
		}
	}
}

func TestSunlitGround(t *testing.T) {
	// Half a Moon, lit in the west: without the two degrees of dawn its outline ends at the middle.
	v := moon.View{SemidiameterArcsec: 900, PhaseDeg: 90 + dawnDeg, BrightLimbDeg: 270}
	b, ok := area{ground(v, "lit")}.within(box{-100, -100, 100, 100})
	if !ok {
		t.Fatal("no ground")
	}
	near(t, "east end", b.x1, 0, 1e-9)
	near(t, "west end", b.x0, -15, 1e-9)
	near(t, "south end", b.y0, -15, 1e-9)
	near(t, "north end", b.y1, 15, 1e-9)
	// Across a strip a quarter of the radius up, the chord is √(1 − 1/16).
	b, _ = area{ground(v, "lit")}.within(box{-100, 3.75, 100, 15})
	near(t, "chord", b.x0, -15*math.Sqrt(1-1.0/16), 1e-3)
}

func TestCameraFrame(t *testing.T) {
	// With north up, west is right on the sky; with east up, north is right.
	for _, c := range []struct {
		up   frame
		sky  spot
		want spot
	}{{0, spot{-1, 0}, spot{1, 0}}, {0, spot{0, 1}, spot{0, 1}}, {90, spot{1, 0}, spot{0, 1}}, {90, spot{0, 1}, spot{1, 0}}, {180, spot{0, 1}, spot{0, -1}}} {
		got := c.up.turn(c.sky)
		near(t, "right", got.x, c.want.x, 1e-12)
		near(t, "up", got.y, c.want.y, 1e-12)
		back := c.up.turn(got)
		near(t, "east", back.x, c.sky.x, 1e-12)
		near(t, "north", back.y, c.sky.y, 1e-12)
	}
}

// bench is a night of the telescope above, in the middle of Europe.
func bench(width, height int) pipeline.Night {
	n := pipeline.Night{Mount: "equatorial", Tracking: "lunar", TimeZone: "Europe/Zurich",
		Site:      &pipeline.Site{LatitudeDeg: 47.4, LongitudeDeg: 8.5, ElevationM: 430},
		Telescope: &pipeline.Telescope{ApertureMM: 150, FocalLengthMM: 1800, Obstruction: 0.3},
		Camera:    &pipeline.Camera{PixelUM: 2.9, WidthPX: width, HeightPX: height, Bits: 8, RateHz: 60},
		Survey:    &pipeline.Survey{}}
	n.Survey.SetDefaults()
	return n
}

func plan(t *testing.T, n pipeline.Night, day string) *Report {
	t.Helper()
	d, err := ParseDay(day)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Plan(n, d)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestSessionByHand(t *testing.T) {
	n := bench(1936, 1096)
	r := plan(t, n, "2027-03-19")
	g := r.Grid
	if g == nil {
		t.Fatal(r.NoGrid)
	}
	k := int64(len(g.Panels))
	// 60 frames a second for 60 s, 1936 · 1096 bytes and a time stamp of 8 each, a header of 178.
	if want := k * (178 + 3600*(1936*1096+8)); g.Bytes != want {
		t.Errorf("%d bytes, want %d", g.Bytes, want)
	}
	// A clip of 60 s and a pause of 20 s each, without the last pause.
	if want := time.Duration(k)*80*time.Second - 20*time.Second; g.Length != want {
		t.Errorf("%v long, want %v", g.Length, want)
	}
	for i, p := range g.Panels {
		if want := r.Window.From.Add(time.Duration(i) * 80 * time.Second); !p.At.Equal(want) {
			t.Errorf("panel %d at %v, want %v", p.Number, p.At, want)
		}
	}
	near(t, "scale″", r.Optics.ScaleArcsec, 0.332316, 1e-6)
	near(t, "width′", r.Optics.WidthArcmin, 10.7227, 1e-4)
	// λ/D = 550 nm/150 mm = 0.75630″; Rayleigh 1.2197 times that; Dawes 115.8/150.
	near(t, "λ/D″", r.Optics.LimitArcsec, 0.75630, 1e-5)
	near(t, "Rayleigh″", r.Optics.RayleighArcsec, 0.92246, 1e-5)
	near(t, "Dawes″", r.Optics.DawesArcsec, 0.772, 1e-9)
	near(t, "px to λ/D", r.Optics.SamplingPx, 2.2759, 1e-4)
}
