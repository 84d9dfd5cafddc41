package mosaic

import (
	"math"
	"slices"
	"testing"

	"plenilune/pipeline"
)

// diskArcmin is one arcminute in pixels on diskGround, whose Moon of mean size is 460 px wide.
const diskArcmin = 460 / meanDiameter

// aimedAt is the hint that a shot of a disk deserves, off by so many arcminutes. The middle of the picture that is
// to come lies like the ground, turned back by the median panel's turn.
func aimedAt(n *night, panel int, disk *circle, offEast, offNorth float64) hintSettings {
	s, _ := n.toGround()
	x, y := s.inverse().at(n.shots[panel].pose.X, n.shots[panel].pose.Y)
	cx, cy := s.inverse().at(disk.X, disk.Y)
	return hintSettings{Panel: panel, Aimed: true,
		EastArcmin: -(x-cx)/diskArcmin + offEast, NorthArcmin: -(y-cy)/diskArcmin + offNorth}
}

// leveled are the disk's shots without turns from panel to panel.
func leveled() []shot {
	shots := diskShots()
	for i := range shots {
		shots[i].pose.Turn = 0.02 * deg * float64(i%3)
	}
	return shots
}

func TestHintPlacesAnIslandAndItsLimbCorrectsIt(t *testing.T) {
	g := diskGround()
	var shots []shot
	for i, s := range leveled() { // the two columns on the left and, apart from them, the third row's end
		if i%4 < 2 || i == 11 {
			shots = append(shots, s)
		}
	}
	lone := 6
	before := join(t, g, shots, 2)
	if before.geometry.Panels[lone].Placed || before.warned("panel-not-placed") != 1 {
		t.Fatalf("panel %d touches nobody, yet placed is %v and warnings are %v", lone, before.geometry.Panels[lone].Placed, before.warnings)
	}
	h := aimedAt(before, lone, g.disk, 0.4, -0.2)
	n := joinWith(t, g, shots, 2, placeSettings{Hints: []hintSettings{h}}, "auto")
	p := n.geometry.Panels[lone]
	if !p.Placed || p.Hint != hintUsed || n.placements.Panels[lone].Why != hintUsed || n.warned("panel-not-placed") != 0 {
		t.Fatalf("placed is %v, %q, warnings %v", p.Placed, p.Hint, n.warnings)
	}
	m, _ := before.toGround() // the same picture, but for the panel in question
	x, y := m.at(p.X, p.Y)
	truth := n.shots[lone].pose
	// Along the limb only the hint speaks: 0.45′ are 6.6 px. Across it the limb is known to a tenth of a pixel; the ground
	// here lies 160 px right and 9 below of the middle, so that across is nearly x.
	if math.Abs(x-truth.X) > 1.2 || math.Abs(y-truth.Y) > 8 {
		t.Errorf("the panel's middle lies %.2f, %.2f px off", x-truth.X, y-truth.Y)
	}
}

func TestHintThatContradictsIsWarnedOfAndLoses(t *testing.T) {
	g := diskGround()
	shots := leveled()
	plain := join(t, g, shots, 2)
	h := aimedAt(plain, 5, g.disk, 6, 0)
	n := joinWith(t, g, shots, 2, placeSettings{Hints: []hintSettings{h}}, "auto")
	if n.warned("hint-contradicted") != 1 {
		t.Errorf("warnings are %v, want hint-contradicted", n.warnings)
	}
	if p, q := n.geometry.Panels[5], plain.geometry.Panels[5]; p.X != q.X || p.Y != q.Y {
		t.Errorf("the hint moved the panel from %v, %v to %v, %v", q.X, q.Y, p.X, p.Y)
	}
	if off := n.geometry.Panels[5].HintOffArcmin; math.Abs(off-6) > 0.3 {
		t.Errorf("it says the hint is %.2f′ off, want 6", off)
	}
	// A hint that agrees says nothing and changes nothing.
	n = joinWith(t, g, shots, 2, placeSettings{Hints: []hintSettings{aimedAt(plain, 5, g.disk, 0.5, -0.5)}}, "auto")
	if len(n.warnings) != 0 || n.outputs["image"] != plain.outputs["image"] {
		t.Errorf("an agreeing hint changed the picture or warned: %v", n.warnings)
	}
}

func TestHintWithoutALimbCountsFromAnotherPanels(t *testing.T) {
	g := newGround(6, 2600, 320, 6000)
	shots := grid(2, 2)
	for i := range shots {
		shots[i].pose.Turn, shots[i].pose.Scale = 0, 1
	}
	away := shots[0]
	away.pose.X += 2000
	shots = append(shots, away)
	hint := func(panel int) hintSettings { // one arcsecond a pixel, counted from (1000, 160)
		p := shots[panel].pose
		return hintSettings{Panel: panel, Aimed: true, EastArcmin: -(p.X - 1000) / 60, NorthArcmin: -(p.Y - 160) / 60}
	}
	alone := joinWith(t, g, shots, 2, placeSettings{Hints: []hintSettings{hint(4)}, StatedArcsecPerPx: 1}, "auto")
	if alone.geometry.Panels[4].Placed || alone.warned("hint-unused") != 1 {
		t.Errorf("placed is %v with nothing to count from; warnings %v", alone.geometry.Panels[4].Placed, alone.warnings)
	}
	n := joinWith(t, g, shots, 2, placeSettings{Hints: []hintSettings{hint(1), hint(4)}, StatedArcsecPerPx: 1}, "auto")
	p, q := n.geometry.Panels[1], n.geometry.Panels[4]
	if !q.Placed || n.warned("hint-alone") != 1 {
		t.Fatalf("placed is %v, warnings %v", q.Placed, n.warnings)
	}
	// 2,000 px away, a turn of the first panels of a tenth of a degree is 3.5 px.
	if d := math.Hypot(q.X-p.X-(away.pose.X-shots[1].pose.X), q.Y-p.Y-(away.pose.Y-shots[1].pose.Y)); d > 3.5 {
		t.Errorf("it lies %.2f px from where the hints put it", d)
	}
}

func TestHintsThatSayTooLittle(t *testing.T) {
	one := 1.0
	got := checkHints(&Settings{Hints: []Hint{{Clip: "a"}, {Clip: "b", EastArcmin: &one}, {Clip: "c", NorthArcmin: &one},
		{Clip: "d", EastArcmin: &one, NorthArcmin: &one}, {Clip: "e", TurnDeg: &one}}}, pipeline.Night{})
	var paths []string
	for _, p := range got {
		paths = append(paths, p.Path)
	}
	if want := []string{"hint.a", "hint.b", "hint.c"}; !slices.Equal(paths, want) {
		t.Errorf("problems at %v, want %v", paths, want)
	}
}

// With the Moon's north to the picture's left, its east is at the bottom; mirrored, at the top.
func TestHintGoesAlongTheStatedNorth(t *testing.T) {
	h := hintSettings{Aimed: true, EastArcmin: 2, NorthArcmin: 5}
	for _, c := range []struct {
		o        *Orientation
		left, up float64
	}{{nil, 2, 5}, {&Orientation{}, 2, 5}, {&Orientation{NorthDeg: 90}, 5, -2}, {&Orientation{NorthDeg: 90, Mirrored: true}, 5, 2}, {&Orientation{NorthDeg: 180}, -2, -5}} {
		if got := h.along(c.o); math.Abs(got.EastArcmin-c.left) > 1e-12 || math.Abs(got.NorthArcmin-c.up) > 1e-12 {
			t.Errorf("%+v: left %g, up %g; want %g, %g", c.o, got.EastArcmin, got.NorthArcmin, c.left, c.up)
		}
	}
}
