package detail

import "image"

// wingShare is how much of the light beside the limb is left out.
const wingShare = 0.6

// wings is the light some way beyond the lit limb, which is mostly what the air's
// widest wings spread, below the model of the blur. Nearer, it is the telescope's
// own, and belongs to the picture; but next to a limb that has grown crisp it would
// stand as a grey ring about the Moon. Both end so far out that nothing brightens
// again on the way.
type wings struct {
	*ground
	glow grid // 1 on the sky beside the limb's edge, 0 elsewhere
	air  grid // likewise, but only where the telescope's own wings have mostly ended
}

// findWings looks at the luminance of a picture of w by h pixels; it is nil where there is no limb.
func findWings(sharp []float32, w, h int) *wings {
	g := findGround(sharp, w, h)
	if g.edgePx == 0 {
		return nil
	}
	g.pix = nil // room
	glow, air := make([]float32, g.w*g.h), g.limb
	for i := range glow {
		out := root(g.out[i])
		glow[i] = float32(g.limb[i]*smoothstep(0, wingWide, out)) * (1 - smoothstep(glowNear, wingFar, out))
		air[i] = float32(glow[i] * smoothstep(airNear, airFull, out))
	}
	g.limb, g.away, g.out = nil, nil, nil
	return &wings{g, grid{glow, g.w, g.h}, grid{air, g.w, g.h}}
}

// dim takes most of the air's light back from a gain, and writes into beyond which share of each
// pixel's light above the sky a print should leave out besides. All are of the rectangle r
// of the picture; sharp is its luminance with the gain.
func (g *wings) dim(gain, sharp, beyond []float32, r image.Rectangle) {
	sky := float32(g.sky)
	i := 0
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x, i = x+1, i+1 {
			cx, cy := g.place(x, y)
			all, air := float32(wingShare*g.glow.at(cx, cy)), float32(wingShare*g.air.at(cx, cy))
			if s := sharp[i]; s == s {
				gain[i] -= float32(air * (s - sky))
			}
			beyond[i] = max(0, 1-(1-all)/(1-air)) // of what air has left
		}
	}
}
