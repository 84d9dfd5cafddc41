package detail

// wingShare is how much of the light beside the limb is left out.
const wingShare = 0.6

// dimWings takes back most of the light some way beyond the lit limb: there it is what
// the air's widest wings spread, below the model of the blur. Nearer, it is the
// telescope's own, and belongs to the picture; but next to a limb that has grown crisp
// it would stand as a grey ring about the Moon. So dimWings returns which share of each
// pixel's light above the sky a print should leave out besides. Both end so far out that
// nothing brightens again on the way.
func dimWings(gain, sharp []float32, w, h int) (beyond []float32) {
	g := findGround(sharp, w, h)
	beyond = make([]float32, w*h)
	if g.edgePx == 0 {
		return beyond
	}
	sky := float32(g.sky)
	for y := range h {
		for x := range w {
			i := y*w + x
			cx := float32((float32(x)+0.5)*g.fx) - 0.5
			cy := float32((float32(y)+0.5)*g.fy) - 0.5
			all, air := float32(wingShare*g.glow.at(cx, cy)), float32(wingShare*g.air.at(cx, cy))
			if sharp[i] == sharp[i] {
				gain[i] -= float32(air * (sharp[i] - sky))
			}
			beyond[i] = max(0, 1-(1-all)/(1-air)) // of what air has left
		}
	}
	return beyond
}
