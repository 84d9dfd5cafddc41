package mosaic

import (
	"math"
	"testing"
)

const deg = math.Pi / 180

// grid lays out shots of 200×160 pixels in a grid with a quarter of overlap, each a little off, turned and scaled.
func grid(nx, ny int) []shot {
	var out []shot
	for j := range ny {
		for i := range nx {
			k := float64(len(out))
			out = append(out, shot{
				w: 200, h: 160,
				pose: pose{
					X:     110 + 148*float64(i) + 4*math.Sin(3*k),
					Y:     90 + 118*float64(j) + 4*math.Cos(5*k),
					Turn:  (0.8*k - 2) * deg,
					Scale: 1 + 0.0003*math.Sin(7*k),
				},
				gain:   1 + 0.06*math.Sin(2*k+1),
				offset: 0.004 * math.Cos(3*k),
				ragged: true,
			})
		}
	}
	return out
}

func TestPanelsOfKnownPlaceAndBrightness(t *testing.T) {
	g := newGround(1, 560, 320, 1500)
	shots := grid(3, 2)
	shots[4].pose.Turn += math.Pi // after a meridian flip
	n := join(t, g, shots, 2)
	for i, p := range n.geometry.Panels {
		if !p.Placed {
			t.Fatalf("panel %d is not placed", i)
		}
	}
	s, worst := n.toGround()
	// Noise of 1e-4 against bumps of 0.1 and some thousand pixels an overlap leave a few hundredths of a pixel.
	if worst > 0.05 {
		t.Errorf("a panel's ground lies %.3f px off, want ≤ 0.05", worst)
	}
	if v := n.psnr(g, s); v < 40 {
		t.Errorf("joined picture has a PSNR of %.1f dB against the ground, want ≥ 40", v)
	}
	checkLevels(t, n, 0.001)
	if len(n.placements.Holes) != 0 || n.placements.Limb.Found {
		t.Errorf("found holes %v and a limb %v where there is none", n.placements.Holes, n.placements.Limb)
	}
}

// checkLevels demands that ground of any brightness between 0.3 and 0.55 is shown equally bright from all panels, to a share of
// tol either way.
func checkLevels(t *testing.T, n *night, tol float64) {
	t.Helper()
	for _, ground := range []float64{0.3, 0.55} {
		lo, hi := math.Inf(1), 0.0
		for i, p := range n.placements.Panels {
			if p.Placed {
				v := p.Factor*(n.shots[i].gain*ground+n.shots[i].offset) + p.Offset
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		if hi/lo-1 > 2*tol {
			t.Errorf("ground of brightness %g is shown between %.5f and %.5f, want it within ±%g", ground, lo, hi, tol)
		}
	}
}

func TestSameBytesWithAnyNumberOfWorkers(t *testing.T) {
	g := newGround(2, 400, 320, 1000)
	one, many := join(t, g, grid(2, 2), 1), join(t, g, grid(2, 2), 5)
	for port, id := range one.outputs {
		if many.outputs[port] != id {
			t.Errorf("output %q differs between 1 and 5 workers", port)
		}
	}
}

func TestStrangersAreNamed(t *testing.T) {
	g := newGround(3, 3000, 320, 8000)
	shots := grid(2, 2)
	away := shots[0]
	away.pose.X += 2000
	sky := shots[1]
	sky.blank = true
	n := join(t, g, append(shots, away, sky), 2)
	if n.geometry.Panels[4].Placed || n.geometry.Panels[5].Placed {
		t.Errorf("placed a panel from elsewhere (%v) or of sky (%v)", n.geometry.Panels[4].Placed, n.geometry.Panels[5].Placed)
	}
	if n.warned("panel-not-placed") != 1 || n.warned("panel-sky-only") != 1 {
		t.Errorf("warnings are %v, want one panel-not-placed and one panel-sky-only", n.warnings)
	}
	for i := range 4 {
		if !n.geometry.Panels[i].Placed {
			t.Errorf("panel %d is not placed", i)
		}
	}
}

func TestSecondTakeOfAPanelIsUsed(t *testing.T) {
	g := newGround(4, 400, 320, 1000)
	shots := grid(2, 2)
	again := shots[3]
	again.pose.X, again.pose.Turn = again.pose.X+6, again.pose.Turn+1*deg
	n := join(t, g, append(shots, again), 2)
	if _, worst := n.toGround(); !n.geometry.Panels[4].Placed || worst > 0.05 {
		t.Errorf("second take placed: %v, worst ground %.3f px off", n.geometry.Panels[4].Placed, worst)
	}
}
