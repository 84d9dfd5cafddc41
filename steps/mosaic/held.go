package mosaic

import "slices"

// pointSigma is how far, in pixels of matching scale, a place that points gave may be off, one standard deviation a direction: a guess
// on the safe side, against windows.
const pointSigma = 1.5

// fewWindows is how many windows an overlap needs to do without the points that linked its panels: two tell shift and turn with
// nothing to prove them.
const fewWindows = 3

// tieByLinks adds to the windows' ties, where an overlap has few of them, the places that linked its panels. An overlap may be too
// narrow for a window, or show too little: without these, panels that hang on it alone would float.
func (n *network) tieByLinks() {
	for _, l := range n.carriedLinks(n.links) {
		if !n.in[l.A] || !n.in[l.B] || len(n.overlaps[[2]int{l.A, l.B}].ties) >= fewWindows {
			continue
		}
		info := 1 / (l.sigma * l.sigma)
		for _, p := range l.Pts {
			n.ties = append(n.ties, tie{A: l.A, B: l.B, AX: p.AX, AY: p.AY, BX: p.BX, BY: p.BY, Info: [3]float64{info, 0, info}, Points: true})
		}
	}
}

// among returns the links between placed panels.
func (n *network) among(links []link) []link {
	return slices.DeleteFunc(slices.Clone(links), func(l link) bool { return !n.in[l.A] || !n.in[l.B] })
}

// pointed tells the links how far their points may be off.
func pointed(links []link, s []seen) []link {
	out := make([]link, len(links))
	for k, l := range links {
		l.sigma = pointSigma * float64(max(s[l.A].Reduce, s[l.B].Reduce))
		out[k] = l
	}
	return out
}
