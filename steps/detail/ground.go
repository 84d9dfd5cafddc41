package detail

import (
	"math"

	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/robust"
)

// ground tells the Moon's surface from the sky beside the lit limb, at half the
// picture's size. Taken apart as it is, the limb's step would ring through every
// scale, bright inside and dark outside. So before the picture is taken apart,
// the ground is carried on smoothly beyond the limb, and detail found there, or
// in the limb's own blurred edge, is not used. The terminator, whose step is
// gentle, and the night side beyond it stay as they are.
type ground struct {
	keep    grid    // 1 on ground, 0 on the sky of the limb and on its edge
	fill    grid    // the ground, carried on where keep is 0 or there is no data
	rim     grid    // 1 on the limb's edge, where it may be steepened, 0 elsewhere
	glow    grid    // 1 on the sky beside the limb's edge, 0 elsewhere
	air     grid    // likewise, but only where the telescope's own wings have mostly ended
	edgePx  float64 // how wide the limb's edge is, sky to ground, in pixels of the picture; 0 without a limb
	sigmaPx float64 // the standard deviation of the blur that the edge shows, likewise
	sky     float64 // the darkest level, about that of the sky
	bright  float64 // the level of the brightest ground
	fx, fy  float32 // size of this grid against the picture's
}

// Lengths in pixels of the half-size grid.
const (
	skyRadius    = 6   // sky is dark over a disk of this radius; the shadows in craters are smaller
	besideNear   = 3   // ground beside the sky, to tell limb from terminator, lies between these two
	besideFar    = 9   // distances from it
	edgeMax      = 8   // a wider edge is no limb
	glowNear     = 4   // beyond the limb the sky's glow is drawn in with the edge, fading out
	glowFar      = 20  // between these two distances from it
	wingWide     = 2   // over this much the glow beyond the edge is taken back,
	wingFar      = 100 // ending so slowly here that what is left falls all the way
	airNear      = 4   // between these two distances the telescope's own wings
	airFull      = 9   // end and what the air's add begins to count
	profileBins  = 13
	profileLevel = 9 // from here on the profile across the limb is level ground
)

// gridSpread is what the grid itself adds to the variance of the edge: its pixels,
// the bins of distance, the difference between two of them and the steps of the
// sky's outline are each a uniform spread of one pixel.
const gridSpread = 4.0 / 12

// edgeTop is the share of the level ground's brightness at which the edge ends.
const edgeTop = 0.98

// findGround looks at the luminance of a picture of w by h pixels.
func findGround(lum []float32, w, h int) *ground {
	cw, ch := max(1, w/2), max(1, h/2)
	pix := filter.Downscale(plane.Of(w, h, lum), cw, ch).Pix[0]
	q := robust.Quantiles(pix, 0.01, 0.99)
	g := &ground{sky: q[0], bright: q[1], fx: float32(cw) / float32(w), fy: float32(ch) / float32(h)}
	valid := make([]float32, cw*ch)
	for i, v := range pix {
		if v == v {
			valid[i] = 1
		}
	}
	keep, rim, glow, air := g.sift(pix, valid, cw, ch)
	weight := make([]float32, cw*ch)
	for i := range weight {
		weight[i] = float32(keep[i] * valid[i])
	}
	g.keep, g.rim, g.glow, g.air = grid{keep, cw, ch}, grid{rim, cw, ch}, grid{glow, cw, ch}, grid{air, cw, ch}
	g.fill = grid{carryOn(pix, weight, cw, ch), cw, ch}
	return g
}

// at returns keep, fill and rim for the picture's pixel (x, y).
func (g *ground) at(x, y int) (keep, fill, rim float32) {
	cx := float32((float32(x)+0.5)*g.fx) - 0.5
	cy := float32((float32(y)+0.5)*g.fy) - 0.5
	return g.keep.at(cx, cy), g.fill.at(cx, cy), g.rim.at(cx, cy)
}

// sift measures the limb's edge and returns keep, rim, glow and air.
func (g *ground) sift(pix, valid []float32, w, h int) (keep, rim, glow, air []float32) {
	sky := g.wideSky(pix, w, h)
	away := distance(sky, w, h)
	limb := g.limbness(pix, valid, away, w, h)
	width, sigma := g.edge(pix, valid, away, limb)
	g.edgePx, g.sigmaPx = 2*width, 2*sigma
	keep, rim, glow, air = make([]float32, w*h), make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
	end, out := float32(width), distanceFrom(sky, w, h)
	for i := range keep {
		keep[i] = 1
		if width > 0 {
			inside := smoothstep(end, end+2, away[i])
			keep[i] = 1 - float32(limb[i]*(1-inside))
			rim[i] = float32(limb[i]*(1-inside)) * (1 - smoothstep(glowNear, glowFar, out[i]))
			glow[i] = float32(limb[i]*smoothstep(0, wingWide, out[i])) * (1 - smoothstep(glowNear, wingFar, out[i]))
			air[i] = float32(glow[i] * smoothstep(airNear, airFull, out[i]))
		}
	}
	return keep, rim, glow, air
}

// distanceFrom returns the distance to what is not sky.
func distanceFrom(sky []bool, w, h int) []float32 {
	other := make([]bool, len(sky))
	for i, s := range sky {
		other[i] = !s
	}
	return distance(other, w, h)
}

// wideSky marks what is dark over a whole disk of skyRadius.
func (g *ground) wideSky(pix []float32, w, h int) []bool {
	smooth := make([]float32, w*h)
	filter.GaussianFilled(smooth, pix, w, h, 1, 0.5)
	noise := robust.Immerkaer(pix, w, h)
	if noise != noise {
		noise = 0
	}
	limit := float32(g.sky + max(0.03*(g.bright-g.sky), 6*noise))
	lit := make([]bool, w*h)
	for i, v := range smooth {
		lit[i] = v >= limit // no data may be sky, or not: it does not stop a disk
	}
	core := make([]bool, w*h)
	for i, d := range distance(lit, w, h) {
		core[i] = d > skyRadius
	}
	sky := make([]bool, w*h)
	for i, d := range distance(core, w, h) {
		sky[i] = d <= skyRadius+1 && smooth[i] < limit
	}
	return sky
}

// limbness returns 1 where the sky meets bright ground and 0 where it meets the
// terminator, whose ground is dim for a while yet, smoothly between.
func (g *ground) limbness(pix, valid, away []float32, w, h int) []float32 {
	sum, weight := make([]float32, w*h), make([]float32, w*h)
	unit := float32(1 / max(g.bright-g.sky, 1e-12))
	for i, d := range away {
		if d > besideNear && d <= besideFar && valid[i] > 0 {
			sum[i], weight[i] = (pix[i]-float32(g.sky))*unit, 1
		}
	}
	filter.Gaussian(sum, sum, w, h, skyRadius)
	filter.Gaussian(weight, weight, w, h, skyRadius)
	for i, k := range weight {
		if k > 1e-3 {
			sum[i] /= k
			weight[i] = min(1, 4*k)
		} else {
			weight[i] = 0
		}
	}
	out := carryOn(sum, weight, w, h)
	for i, v := range out {
		out[i] = smoothstep(0.08, 0.2, v)
	}
	return out
}

// edge measures the limb's edge from its mean profile: how wide it is, from where
// the sky ends to where the ground is level, and the standard deviation of the
// Gaussian blur that gives its steepest slope; both in pixels of the grid, 0
// without a limb.
func (g *ground) edge(pix, valid, away, limb []float32) (width, sigma float64) {
	profile, ok := g.profile(pix, valid, away, limb)
	if !ok {
		return 0, 0
	}
	steepest := 0.0
	for b := 1; b < profileLevel; b++ {
		steepest = max(steepest, profile[b]-profile[b-1])
		if lo, hi := profile[b-1], profile[b]; width == 0 && hi >= edgeTop && lo < edgeTop {
			width = float64(b-1) + (edgeTop-lo)/(hi-lo)
		}
	}
	if width == 0 || width > edgeMax {
		return 0, 0
	}
	seen := 1 / (math.Sqrt(2*math.Pi) * steepest)
	return width, math.Sqrt(max(float64(seen*seen)-gridSpread, 0.01))
}

// profile returns the limb's mean brightness by the distance from the sky, 1
// being that of the level ground behind the edge.
func (g *ground) profile(pix, valid, away, limb []float32) (sum [profileBins]float64, ok bool) {
	var n [profileBins]int
	for i, d := range away {
		if b := int(d + 0.5); b < profileBins && valid[i] > 0 && limb[i] > 0.9 {
			sum[b] += float64(pix[i]) - g.sky
			n[b]++
		}
	}
	level := 0.0
	for b := range sum {
		if n[b] < 20 {
			return sum, false
		}
		sum[b] /= float64(n[b])
		if b >= profileLevel {
			level += float64(sum[b] / (profileBins - profileLevel))
		}
	}
	for b := range sum {
		sum[b] /= level
	}
	return sum, level > 0
}

// smoothstep rises from 0 at lo to 1 at hi with level ends: 3u² − 2u³.
func smoothstep(lo, hi, v float32) float32 {
	u := min(max((v-lo)/(hi-lo), 0), 1)
	return float32(float32(u*u) * (3 - float32(2*u)))
}
