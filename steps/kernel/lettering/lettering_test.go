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

// Around one inked pixel a halo of radius 2 is that disk of 13 pixels, softened over squares of 3.
func TestHalo(t *testing.T) {
	m := Mask{5, 7, 1, 1, []uint8{255}}.Halo(2)
	if m.X != 1 || m.Y != 3 || m.W != 9 || m.H != 9 {
		t.Fatalf("a halo of 2 px around (5, 7) has its corner at %d, %d and %d×%d px", m.X, m.Y, m.W, m.H)
	}
	// In the row of the middle: nothing, the outermost pixel alone, with its neighbours of the column within, and full.
	for x, want := range []uint8{0, 255 / 9, 4 * 255 / 9, 7 * 255 / 9, 255} {
		if got := m.Ink[4*9+x]; got != want {
			t.Errorf("%d from the left there is %d of ink, want %d", x, got, want)
		}
	}
}

// Growing by way of rows is growing pixel by pixel.
func TestGrownByHand(t *testing.T) {
	m := Draw("Rå", Slanted, 30).padded(6)
	for _, r := range []int{1, 2, 3, 6} {
		got := m.grown(r)
		for y := range m.H {
			for x := range m.W {
				most := uint8(0)
				for v := max(0, y-r); v <= min(m.H-1, y+r); v++ {
					for u := max(0, x-r); u <= min(m.W-1, x+r); u++ {
						if (u-x)*(u-x)+(v-y)*(v-y) <= r*r {
							most = max(most, m.Ink[v*m.W+u])
						}
					}
				}
				if got.Ink[y*m.W+x] != most {
					t.Fatalf("by %d: (%d, %d) is %d, want %d", r, x, y, got.Ink[y*m.W+x], most)
				}
			}
		}
	}
}
