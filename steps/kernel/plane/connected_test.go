package plane

import "testing"

// A corner joins nothing, a side does, and the far end of a row is not beside the next row's beginning.
func TestConnected(t *testing.T) {
	const grid = "" +
		"##..#" +
		"..###" +
		"#...."
	member := func(i int) bool { return grid[i] == '#' }
	for first, want := range map[int]string{
		0:  "##.............",
		4:  "....#..###.....",
		10: "..........#....",
		2:  "...............",
	} {
		for i, got := range Connected(5, 3, first, member) {
			if got != (want[i] == '#') {
				t.Errorf("from cell %d, cell %d: %v", first, i, got)
			}
		}
	}
}
