package lettering

import "testing"

// A capital I is a bar that stands on the baseline, some seven tenths of the size high (cap height of the typeface: 1469 of 2048
// units, its OS/2 table), and inked in the middle.
func TestCapital(t *testing.T) {
	m := Draw("I", Upright, 100)
	if top := -m.Y; top < 71 || top > 74 || m.Y+m.H > 1 || m.Y+m.H < 0 {
		t.Errorf("an I of 100 px reaches from %d above the baseline to %d below it", top, m.Y+m.H)
	}
	if v := m.Ink[m.H/2*m.W+m.W/2]; v != 255 {
		t.Errorf("in its middle there is %d of 255 ink", v)
	}
}

func TestLettersRunOn(t *testing.T) {
	one, two := Draw("Mare", Slanted, 40), Draw("Mare Imbrium", Slanted, 40)
	if two.W < 2*one.W || two.H > 2*one.H {
		t.Errorf("%d×%d px and %d×%d px", one.W, one.H, two.W, two.H)
	}
	if m := Draw(" ", Upright, 40); m.W*m.H != 0 {
		t.Errorf("a blank has %d×%d px of ink", m.W, m.H)
	}
	for _, c := range "äåéøüłőčñ" { // letters of the names
		if Draw(string(c), Upright, 40).W == Draw("\ufffe", Upright, 40).W && Draw(string(c), Upright, 40).H == Draw("\ufffe", Upright, 40).H {
			t.Errorf("the typeface lacks %q", c)
		}
	}
}

// Around one inked pixel a halo of radius r is full at its middle and gone beyond 2r.
func TestHalo(t *testing.T) {
	m := Mask{5, 7, 1, 1, []uint8{255}}.Halo(2)
	if m.X != 1 || m.Y != 3 || m.W != 9 || m.H != 9 {
		t.Fatalf("a halo of 2 px around (5, 7) has its corner at %d, %d and %d×%d px", m.X, m.Y, m.W, m.H)
	}
	// 13 pixels lie within 2 of a pixel; all of them within the square of 5×5 about the middle.
	if got := m.Ink[4*9+4]; got != 13*255/25 {
		t.Errorf("%d in the middle, want %d", got, 13*255/25)
	}
	if m.Ink[0] != 0 || m.Ink[4*9] == 0 {
		t.Errorf("at the corner %d, at the side %d", m.Ink[0], m.Ink[4*9])
	}
}
