package detail

import (
	"math"
	"slices"

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
	edgePx  float64 // how wide the limb's edge is, sky to ground, in pixels of the picture; 0 without a limb
	sigmaPx float64 // the standard deviation of the blur that the edge shows, likewise
	sky     float64 // the darkest level, about that of the sky
	bright  float64 // the level of the brightest ground

	w, h   int       // of the grid
	fx, fy float32   // its size against the picture's
	pix    []float32 // the picture
	limb   []float32 // 1 where the sky meets bright ground, 0 where it meets the terminator
	away   []uint16  // squares of distances from the sky, see distance2
	out    []uint16  // and, in the sky, from what is none
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
	g := &ground{w: max(1, w/2), h: max(1, h/2)}
	g.fx, g.fy = float32(g.w)/float32(w), float32(g.h)/float32(h)
	g.pix = filter.Downscale(plane.Of(w, h, lum), g.w, g.h).Pix[0]
	q := robust.Counted(slices.Values(g.pix), 0.01, 0.99)
	g.sky, g.bright = q[0], q[1]
	sky := g.wideSky()
	g.away = distance2(sky, g.w, g.h)
	g.limb = g.limbness()
	width, sigma := g.edge()
	g.edgePx, g.sigmaPx = 2*width, 2*sigma
	for i, s := range sky {
		sky[i] = !s
	}
	g.out = distance2(sky, g.w, g.h)
	return g
}

// place returns where on the grid the picture's pixel (x, y) lies.
func (g *ground) place(x, y int) (cx, cy float32) {
	cx = float32((float32(x)+0.5)*g.fx) - 0.5
	cy = float32((float32(y)+0.5)*g.fy) - 0.5
	return cx, cy
}

// edgeAt returns 1 in the limb's edge and on the sky before it, 0 elsewhere.
func (g *ground) edgeAt(i int) float32 {
	if g.edgePx == 0 {
		return 0
	}
	end := float32(g.edgePx / 2)
	return float32(g.limb[i] * (1 - smoothstep(end, end+2, root(g.away[i]))))
}

// surface is what of the ground a picture is taken apart by.
type surface struct {
	*ground
	keep grid // 1 on ground, 0 on the sky of the limb and on its edge
	fill grid // the ground, carried on where keep is 0 or there is no data
	rim  grid // 1 on the limb's edge, where it may be steepened, 0 elsewhere
}

// surface takes over the memory of what was found: nothing else can be asked afterwards.
func (g *ground) surface() *surface {
	keep, rim := make([]float32, g.w*g.h), g.limb
	for i := range keep {
		edge := g.edgeAt(i)
		keep[i] = 1 - edge
		rim[i] = edge * (1 - smoothstep(glowNear, glowFar, root(g.out[i])))
	}
	fill := g.pix
	g.pix, g.limb, g.away, g.out = nil, nil, nil, nil
	carryOn(fill, keep, g.w, g.h)
	return &surface{g, grid{keep, g.w, g.h}, grid{fill, g.w, g.h}, grid{rim, g.w, g.h}}
}

// at returns keep, fill and rim for the picture's pixel (x, y).
func (s *surface) at(x, y int) (keep, fill, rim float32) {
	cx, cy := s.place(x, y)
	return s.keep.at(cx, cy), s.fill.at(cx, cy), s.rim.at(cx, cy)
}

// wideSky marks what is dark over a whole disk of skyRadius.
func (g *ground) wideSky() []bool {
	smooth := make([]float32, g.w*g.h)
	filter.GaussianFilled(smooth, g.pix, g.w, g.h, 1, 0.5)
	noise := robust.Immerkaer(g.pix, g.w, g.h)
	if noise != noise {
		noise = 0
	}
	limit := float32(g.sky + max(0.03*(g.bright-g.sky), 6*noise))
	mark := make([]bool, g.w*g.h)
	for i, v := range smooth {
		mark[i] = v >= limit // no data may be sky, or not: it does not stop a disk
	}
	for i, d := range distance2(mark, g.w, g.h) {
		mark[i] = d > skyRadius*skyRadius // the disks' middles
	}
	for i, d := range distance2(mark, g.w, g.h) {
		mark[i] = d <= (skyRadius+1)*(skyRadius+1) && smooth[i] < limit
	}
	return mark
}

// limbness returns 1 where the sky meets bright ground and 0 where it meets the
// terminator, whose ground is dim for a while yet, smoothly between.
func (g *ground) limbness() []float32 {
	sum, weight, tmp := make([]float32, g.w*g.h), make([]float32, g.w*g.h), make([]float32, g.w*g.h)
	unit := float32(1 / max(g.bright-g.sky, 1e-12))
	for i, d := range g.away {
		if v := g.pix[i]; d > besideNear*besideNear && d <= besideFar*besideFar && v == v {
			sum[i], weight[i] = (v-float32(g.sky))*unit, 1
		}
	}
	taps := filter.GaussianTaps(skyRadius)
	filter.SymmetricWith(tmp, sum, sum, g.w, g.h, taps)
	filter.SymmetricWith(tmp, weight, weight, g.w, g.h, taps)
	for i, k := range weight {
		if k > 1e-3 {
			sum[i] /= k
			weight[i] = min(1, 4*k)
		} else {
			weight[i] = 0
		}
	}
	carryOn(sum, weight, g.w, g.h)
	for i, v := range sum {
		sum[i] = smoothstep(0.08, 0.2, v)
	}
	return sum
}

// edge measures the limb's edge from its mean profile: how wide it is, from where
// the sky ends to where the ground is level, and the standard deviation of the
// Gaussian blur that gives its steepest slope; both in pixels of the grid, 0
// without a limb.
func (g *ground) edge() (width, sigma float64) {
	profile, ok := g.profile()
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
func (g *ground) profile() (sum [profileBins]float64, ok bool) {
	var n [profileBins]int
	for i, d := range g.away {
		if v, b := g.pix[i], int(root(d)+0.5); b < profileBins && v == v && g.limb[i] > 0.9 {
			sum[b] += float64(v) - g.sky
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
