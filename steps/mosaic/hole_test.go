package mosaic

import "testing"

// mapOf draws a coverage: # lit ground shown, . dark ground shown, a blank nothing.
func mapOf(rows ...string) coverage {
	c := coverage{w: len(rows[0]), h: len(rows), step: 10}
	for _, r := range rows {
		for _, v := range r {
			c.shown, c.lit = append(c.shown, v != ' '), append(c.lit, v == '#')
		}
	}
	return c
}

// What is missing is a hole only where ground at its border is shown, and lit.
func TestWhatIsAHole(t *testing.T) {
	for _, k := range []struct {
		name string
		rows []string
		disk bool
		want int
	}{
		{"a gap in lit ground", []string{"       ", " ##### ", " #   # ", " #   # ", " ##### ", "       "}, false, 1},
		{"a gap in the dark", []string{"       ", " ..... ", " .   . ", " .   . ", " ..... ", "       "}, false, 0},
		{"a bay", []string{"       ", " ##### ", " #     ", " #     ", " ##### ", "       "}, false, 0},
		{"a bay of a disk", []string{"       ", " ##### ", " #     ", " #     ", " ##### ", "       "}, true, 1},
		{"sunlit ground beside nothing shown", []string{"       ", "       ", "       ", "       ", "#      ", "       "}, true, 0},
	} {
		c := mapOf(k.rows...)
		sunlit := make([]bool, len(c.shown))
		for y := 2; y < 4; y++ { // of the bay, and of nothing at all
			for x := 2; x < 6; x++ {
				sunlit[y*c.w+x] = k.disk
			}
		}
		if got := c.holes(geometry{}, sunlit, k.disk); len(got) != k.want {
			t.Errorf("%s: holes %v, want %d", k.name, got, k.want)
		}
	}
}
