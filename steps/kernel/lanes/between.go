package lanes

// Knot is how many places there are between two nodes, see Between.
const Knot = 2 * Width

// Between writes the values of a spline at Knot places to each interval between nodes: dst[Knot·k + x] is
// (w0·n0 + w1·n1) + (w2·n2 + w3·n3) with the nodes k to k+3 and their weights at place x. dst may end within an interval.
func Between(dst, nodes []float32, weights *[4][Knot]float32) {
	whole := len(dst) / Knot
	if fast && whole > 0 {
		_ = nodes[whole+2]
		betweenAVX2(&dst[0], &nodes[0], weights, whole)
	} else {
		whole = 0
	}
	between(dst[whole*Knot:], nodes[whole:], weights)
}

func between(dst, nodes []float32, weights *[4][Knot]float32) {
	for at := 0; at < len(dst); at += Knot {
		n := nodes[at/Knot:][:4]
		for x := range dst[at:min(len(dst), at+Knot)] {
			dst[at+x] = (float32(weights[0][x]*n[0]) + float32(weights[1][x]*n[1])) + (float32(weights[2][x]*n[2]) + float32(weights[3][x]*n[3]))
		}
	}
}
