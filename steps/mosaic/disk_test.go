package mosaic

import (
	"math"
	"slices"
	"testing"
)

// diskShots covers a disk of radius 230 about (300, 300) with a grid of 4 by 4.
func diskShots() []shot {
	var out []shot
	for j := range 4 {
		for i := range 4 {
			k := float64(len(out))
			out = append(out, shot{
				w: 200, h: 190,
				pose: pose{X: 75 + 150*float64(i) + 3*math.Sin(k), Y: 75 + 150*float64(j) + 3*math.Cos(k), Turn: 0.2 * k * deg, Scale: 1},
				gain: 1 + 0.05*math.Sin(k),
			})
		}
	}
	return out
}

func diskGround() *ground {
	g := newGround(5, 600, 600, 3000)
	g.disk = &circle{true, 300, 300, 230}
	return g
}

func TestLimbOfADisk(t *testing.T) {
	g := diskGround()
	n := join(t, g, diskShots(), 2)
	s, _ := n.toGround()
	// Only ground can be misplaced: a panel that is nearly all sky may turn about its strip of it.
	if worst := worstOnDisk(n, s, g.disk); worst > 0.06 {
		t.Errorf("ground lies %.3f px off, want ≤ 0.06", worst)
	}
	l := n.placements.Limb
	if !l.Found {
		t.Fatal("no limb found")
	}
	x, y := s.at(l.X, l.Y)
	if d := math.Hypot(x-300, y-300); d > 0.1 {
		t.Errorf("limb's middle lies %.3f px off, want ≤ 0.1", d)
	}
	// The steepest place of a blurred edge is the edge; 0.1 % of the radius.
	if d := l.Radius*s.scale() - 230; math.Abs(d) > 0.23 {
		t.Errorf("limb's radius is %.3f px off, want ≤ 0.23", d)
	}
	if len(n.placements.Holes) != 0 {
		t.Errorf("holes %v in a whole disk", n.placements.Holes)
	}
	// The Moon's mean apparent diameter over the disk's.
	if want := 31.1 * 60 / 460; math.Abs(n.placements.Scale/want-1) > 0.002 || n.placements.ScaleSource != "limb" || !n.placements.Estimated || n.placements.ScaleMoon != moonOfMean {
		t.Errorf("scale %.4f arcsec/px from %q, want %.4f from the limb, estimated", n.placements.Scale, n.placements.ScaleSource, want)
	}
	if len(n.placements.Overlaps) < 24 {
		t.Errorf("%d overlaps are told of, want those of all neighbours, 24, at least", len(n.placements.Overlaps))
	}
	var off []float64
	for _, o := range n.placements.Overlaps {
		off = append(off, o.OffPx)
		// the one panel's corner may show little but sky
		if o.OffPx > 0.3 || o.Windows > 0 && o.OffPx == 0 {
			t.Errorf("overlap %s, %s: %d windows %.3f px off", o.A[:4], o.B[:4], o.Windows, o.OffPx)
		}
	}
	if m := median(off); m > 0.1 {
		t.Errorf("overlaps are usually %.3f px off, want ≤ 0.1", m)
	}
	checkSky(t, n, g, s)
}

// worstOnDisk is how far the ground of any panel lies off, at places 10 px apart.
func worstOnDisk(n *night, s similarity, disk *circle) float64 {
	worst := 0.0
	for i, p := range n.geometry.Panels {
		truth := n.shots[i].pose.of(p.W, p.H)
		for y := 5; y < p.H; y += 10 {
			for x := 5; x < p.W; x += 10 {
				bx, by := truth.at(float64(x), float64(y))
				if math.Hypot(bx-disk.X, by-disk.Y) > disk.R {
					continue
				}
				ax, ay := p.toMosaic().at(float64(x), float64(y))
				u, v := s.at(ax, ay)
				worst = max(worst, math.Hypot(u-bx, v-by))
			}
		}
	}
	return worst
}

// checkSky demands that sky is level over the whole picture.
func checkSky(t *testing.T, n *night, g *ground, s similarity) {
	t.Helper()
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range n.image.Pix[0] {
		x, y := s.at(float64(i%n.image.W), float64(i/n.image.W))
		if v == v && math.Hypot(x-g.disk.X, y-g.disk.Y) > g.disk.R+12 {
			lo, hi = min(lo, float64(v)), max(hi, float64(v))
		}
	}
	if hi-lo > 0.003 { // noise is ±2e-4 before factors
		t.Errorf("sky lies between %.4f and %.4f", lo, hi)
	}
}

func TestHoleInADisk(t *testing.T) {
	g := diskGround()
	shots := diskShots()
	gap := shots[5] // one of the four in the middle
	n := join(t, g, slices.Delete(shots, 5, 6), 2)
	if len(n.placements.Holes) != 1 || n.warned("hole") != 1 {
		t.Fatalf("holes %v and %d warnings, want one", n.placements.Holes, n.warned("hole"))
	}
	h := n.placements.Holes[0]
	s, _ := n.toGround()
	if x, y := s.at(h.X, h.Y); math.Hypot(x-gap.pose.X, y-gap.pose.Y) > 8 {
		t.Errorf("hole at %.0f, %.0f, want it near %.0f, %.0f", x, y, gap.pose.X, gap.pose.Y)
	}
	// Neighbours leave about 100 by 110 px bare.
	if h.Area < 8000 || h.Area > 14000 {
		t.Errorf("hole of %.0f px², want about 11 000", h.Area)
	}
}

func TestGapAtTheLimbIsAHole(t *testing.T) {
	g := diskGround()
	n := join(t, g, slices.Delete(diskShots(), 7, 8), 2) // one at the right limb is missing
	if len(n.placements.Holes) != 1 {
		t.Fatalf("holes %v, want one at the limb", n.placements.Holes)
	}
	if h, l := n.placements.Holes[0], n.placements.Limb; h.X-l.X < 0.7*l.Radius {
		t.Errorf("hole %.0f px right of the middle, want it near the right limb", h.X-l.X)
	}
}
