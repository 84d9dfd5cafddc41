package plane

// Connected returns which cells of a grid of w by h hang together with the first one, side by side, through members; none if the first is
// no member.
func Connected(w, h, first int, member func(i int) bool) []bool {
	got := make([]bool, w*h)
	if !member(first) {
		return got
	}
	got[first] = true
	for todo := []int{first}; len(todo) > 0; {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		x, y := i%w, i/w
		for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			u, v := x+d[0], y+d[1]
			if u < 0 || v < 0 || u >= w || v >= h {
				continue
			}
			if k := v*w + u; !got[k] && member(k) {
				got[k] = true
				todo = append(todo, k)
			}
		}
	}
	return got
}
