package mosaic

import (
	"math"
	"testing"
)

// A lone panel is shown pixel by pixel: nothing resampled, nothing lost at its border, and no noise made up there.
func TestLonePanelIsItself(t *testing.T) {
	g := newGround(3, 400, 300, 1500)
	n := join(t, g, []shot{{w: 200, h: 161, pose: pose{X: 200, Y: 150, Turn: 3 * deg, Scale: 1}, gain: 1}}, 2)
	want := n.shots[0].take(g, 0)
	if n.image.W != want.W || n.image.H != want.H {
		t.Fatalf("a panel of %d×%d px became %d×%d px", want.W, want.H, n.image.W, n.image.H)
	}
	for i, v := range want.Pix[0] {
		if d := math.Abs(float64(n.image.Pix[0][i] - v)); !(d < 1e-6) {
			t.Fatalf("pixel %d, %d is %v, want %v", i%want.W, i/want.W, n.image.Pix[0][i], v)
		}
		if w := n.weight.Pix[0][i]; math.Abs(float64(w)-1) > 1e-5 {
			t.Fatalf("pixel %d, %d weighs %v, want 1, the stack's", i%want.W, i/want.W, w)
		}
	}
}

// Where two panels of equal noise share a place far from either's border, the noise's variance is half.
func TestWeightOfTwoIsTwice(t *testing.T) {
	g := newGround(3, 400, 300, 1500)
	at := pose{X: 200, Y: 150, Scale: 1}
	n := join(t, g, []shot{{w: 200, h: 160, pose: at, gain: 1}, {w: 200, h: 160, pose: at, gain: 1}}, 2)
	if w := n.weight.Pix[0][n.weight.H/2*n.weight.W+n.weight.W/2]; math.Abs(float64(w)-2) > 0.01 {
		t.Errorf("two panels weigh %v, want 2", w)
	}
}

// Panels of any size, down to one pixel, end in a picture of that size.
func TestOddSizes(t *testing.T) {
	g := newGround(3, 400, 300, 1500)
	for _, s := range [][2]int{{1, 1}, {1, 40}, {40, 1}, {2, 2}, {16, 16}} {
		n := join(t, g, []shot{{w: s[0], h: s[1], pose: pose{X: 200, Y: 150, Scale: 1}, gain: 1}}, 1)
		if n.image.W != s[0] || n.image.H != s[1] {
			t.Errorf("%v px became %d×%d px", s, n.image.W, n.image.H)
		}
		for i, v := range n.image.Pix[0] {
			if v != v {
				t.Errorf("%v px: pixel %d is lost", s, i)
				break
			}
		}
	}
}

// Mountains do not make a limb none.
func TestRoughLimb(t *testing.T) {
	g := diskGround()
	g.rough = 0.5 // three times the Moon's at this size
	n := join(t, g, diskShots(), 2)
	if l := n.placements.Limb; !l.Found || math.Abs(l.RMS-0.5) > 0.2 {
		t.Errorf("limb found: %v, %.2f px rms off a circle, want 0.5 ± 0.2", l.Found, l.RMS)
	}
	if n.placements.Extent != "disk" {
		t.Errorf("extent %q, want disk", n.placements.Extent)
	}
}

// On a disk of a full-resolution night the Moon's own mountains are higher than the air bends: they are left where they
// are. What bends, in a part of the limb, is a third of them at most.
func TestMountainsAreNotBentAway(t *testing.T) {
	const r, w, h = 2000, 640, 480
	n := &network{w: []int{w}, h: []int{h}, in: []bool{true}, poses: []pose{{X: (w - 1) / 2.0, Y: (h - 1) / 2.0, Scale: 1}}, limb: circle{true, w / 2, r + 100, r}}
	hill := func(x float64) float64 { return limbRelief * r * math.Sqrt2 * math.Sin(2*math.Pi*x/(4*reliefReach*r)) }
	for x := 10.0; x < w-10; x += rimStep {
		y := n.limb.Y - math.Sqrt(r*r-(x-n.limb.X)*(x-n.limb.X)) - hill(x)
		n.rims = append(n.rims, rim{X: x, Y: y, Sigma: 10})
	}
	b := n.bendPanels()[0]
	var all, bent float64
	for _, m := range n.rims {
		_, dy := b.at(m.X, m.Y)
		all += hill(m.X) * hill(m.X)
		bent += hill(m.X) * dy // down is towards the middle
	}
	if share := bent / all; share > 1.0/3 || share < 0 {
		t.Errorf("%.2f of the mountains are bent away", share)
	}
}

// How rough a limb may be grows with the disk; what strays further is none.
func TestRoughnessGrowsWithTheDisk(t *testing.T) {
	for _, c := range []struct {
		r, rms float64
		want   bool
	}{{300, 0.5, true}, {300, 0.9, false}, {2000, 1.3, true}, {2000, 6, false}} {
		n := &network{w: []int{10}, h: []int{10}, in: []bool{true}, poses: []pose{{X: 4.5, Y: 4.5, Scale: 1}}, limb: circle{true, 0, 0, c.r}}
		for k := range 360 {
			a := float64(k) * deg
			d := c.r + c.rms*math.Sqrt2*math.Sin(29*a)
			n.rims = append(n.rims, rim{X: d * math.Cos(a), Y: d * math.Sin(a), Sigma: 100}) // all count alike
		}
		n.judgeLimb(2)
		if n.limb.Found != c.want {
			t.Errorf("%.1f px rms about a radius of %.0f px is a limb: %v, want %v", c.rms, c.r, n.limb.Found, c.want)
		}
	}
}

// A few degrees of the limb do not tell the Moon's size: what is stated of the optics is believed.
func TestShortArcTellsNoScale(t *testing.T) {
	const r = 1600
	for _, at := range []float64{0, 90, 200} {
		g := newGround(5, 700, 700, 3000)
		g.disk, g.rough = &circle{true, 350 - r + 230, 350 + at, r}, 0.4
		shots := []shot{{w: 400, h: 300, pose: pose{X: 500, Y: 350, Scale: 1}, gain: 1}}
		stated := 31.1 * 60 / (2 * r)
		n := joinWith(t, g, shots, 2, placeSettings{StatedArcsecPerPx: stated}, "auto")
		if p := n.placements; p.ScaleSource != "stated" || p.Scale != stated || n.warned("scale-differs") != 0 {
			t.Errorf("limb at %v: scale %.4f arcsec/px from %q, want the stated %.4f (%v)", at, p.Scale, p.ScaleSource, stated, n.warnings)
		}
		if p := join(t, g, shots, 2).placements; p.Scale != 0 {
			t.Errorf("limb at %v: scale %.4f arcsec/px from an arc of %.0f°, want none", at, p.Scale, p.Limb.ArcDeg)
		}
	}
}

func TestNothingButSkyIsSaid(t *testing.T) {
	g := newGround(3, 400, 300, 1500)
	n := join(t, g, []shot{
		{w: 120, h: 100, pose: pose{X: 100, Y: 100, Scale: 1}, gain: 1, blank: true},
		{w: 120, h: 100, pose: pose{X: 200, Y: 100, Scale: 1}, gain: 1, blank: true},
	}, 1)
	if n.warned("mosaic-sky-only") != 1 || n.warned("panel-sky-only") != 2 {
		t.Errorf("warnings %v, want the mosaic's and one for each panel", n.warnings)
	}
}
