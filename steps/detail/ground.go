package detail

import (
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
	keep   grid    // 1 on ground, 0 on the sky of the limb and on its edge
	fill   grid    // the ground, carried on where keep is 0 or there is no data
	edgePx float64 // how wide the limb's edge is, sky to ground, in pixels of the picture; 0 without a limb
	sky    float64 // the darkest level, about that of the sky
	bright float64 // the level of the brightest ground
	fx, fy float32 // size of this grid against the picture's
}

// Lengths in pixels of the half-size grid.
const (
	skyRadius    = 6  // sky is dark over a disk of this radius; the shadows in craters are smaller
	besideNear   = 3  // ground beside the sky, to tell limb from terminator, lies between these two
	besideFar    = 9  // distances from it
	edgeMax      = 10 // a wider edge is no limb
	profileBins  = 13
	profileLevel = 8 // from here on the profile across the limb is level ground
)

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
	keep := g.sift(pix, valid, cw, ch)
	weight := make([]float32, cw*ch)
	for i := range weight {
		weight[i] = float32(keep[i] * valid[i])
	}
	g.keep = grid{keep, cw, ch}
	g.fill = grid{carryOn(pix, weight, cw, ch), cw, ch}
	return g
}

// at returns keep and fill for the picture's pixel (x, y).
func (g *ground) at(x, y int) (keep, fill float32) {
	cx := float32((float32(x)+0.5)*g.fx) - 0.5
	cy := float32((float32(y)+0.5)*g.fy) - 0.5
	return g.keep.at(cx, cy), g.fill.at(cx, cy)
}

// sift measures the limb's edge and returns keep.
func (g *ground) sift(pix, valid []float32, w, h int) []float32 {
	sky := g.wideSky(pix, w, h)
	away := distance(sky, w, h)
	limb := g.limbness(pix, valid, away, w, h)
	zone := g.edge(pix, valid, away, limb)
	keep := make([]float32, w*h)
	g.edgePx = 2 * zone
	for i := range keep {
		keep[i] = 1
		if zone > 0 {
			inside := smoothstep(float32(zone+1), float32(zone+3), away[i])
			keep[i] = 1 - float32(limb[i]*(1-inside))
		}
	}
	return keep
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
		sky[i] = d <= skyRadius && smooth[i] < limit
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

// edge returns how wide the limb's edge is, from where the sky ends to level
// ground. A blurred edge is alike on both sides of its middle, so it ends as far
// behind the middle as it began before.
func (g *ground) edge(pix, valid, away, limb []float32) float64 {
	var sum [profileBins]float64
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
			return 0
		}
		sum[b] /= float64(n[b])
		if b >= profileLevel {
			level += sum[b] / (profileBins - profileLevel)
		}
	}
	for b := 1; b < profileBins; b++ {
		if half := float64(level / 2); sum[b] >= half && sum[b-1] < half {
			middle := float64(b-1) + (half-sum[b-1])/(sum[b]-sum[b-1])
			return min(2*middle, edgeMax)
		}
	}
	return 0
}

// smoothstep rises from 0 at lo to 1 at hi with level ends: 3u² − 2u³.
func smoothstep(lo, hi, v float32) float32 {
	u := min(max((v-lo)/(hi-lo), 0), 1)
	return float32(float32(u*u) * (3 - float32(2*u)))
}
