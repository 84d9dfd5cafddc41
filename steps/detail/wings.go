package detail

// wingShare is how much of the light beside the limb is taken back.
const wingShare = 0.6

// dimWings takes back most of the light some way beyond the lit limb. What the air's
// widest wings spread there is below the model of the blur; next to a limb that has
// grown crisp it would stand as a grey ring about the Moon. Within a few pixels the
// light is the telescope's own, which belongs to the picture. It ends so far out that
// nothing brightens again on the way.
func dimWings(gain, sharp []float32, w, h int) {
	g := findGround(sharp, w, h)
	if g.edgePx == 0 {
		return
	}
	sky := float32(g.sky)
	for y := range h {
		for x := range w {
			i := y*w + x
			cx := float32((float32(x)+0.5)*g.fx) - 0.5
			cy := float32((float32(y)+0.5)*g.fy) - 0.5
			if k := g.glow.at(cx, cy); k > 0 && sharp[i] == sharp[i] {
				gain[i] -= float32(wingShare * k * (sharp[i] - sky))
			}
		}
	}
}
