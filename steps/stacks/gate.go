package stacks

import "math"

const (
	// gateReach is how far, in pixels, the air and the blur bring light from: what a frame shows must lie between the
	// darkest and the brightest of the reference so near.
	gateReach = 3
	// What may lie outside, since frames may be sharper than the reference, dimmed by a wisp of cloud, and noisy: a share
	// of the difference between the two, a share of the light, and so many standard deviations of the noise. What passes
	// is a small part of the light, and one of many frames: it does no harm that shows (no source, set so).
	gateRange = 0.5
	gateLight = 0.25
	gateNoise = 8
)

// gate leaves out what cannot be the Moon: a satellite, a bird, the trace of a cosmic ray. It compares each frame with
// the reference alone, so that what it does depends on no other frame.
type gate struct {
	low, high []float32 // on the canvas, of the light that frames are aligned by
	level     []float32 // of each channel against that
	noise     float32   // the most that a frame's noise may add, where that is not dimmed
}

// newGate takes the reference, NaN where unknown: there everything passes. sigma returns a frame's noise at a level.
func newGate(ref []float32, cv canvas, level []float32, sigma func(level float32) float32) *gate {
	g := &gate{low: make([]float32, len(ref)), high: make([]float32, len(ref)), level: level, noise: float32(gateNoise * sigma(1))}
	for i, v := range ref {
		g.low[i] = -v
	}
	highest(g.low, g.low, cv.W, cv.H) // the lowest, turned round
	highest(g.high, ref, cv.W, cv.H)
	for i, hi := range g.high {
		lo := -g.low[i]
		if hi != hi {
			g.low[i], g.high[i] = float32(math.Inf(-1)), float32(math.Inf(1))
			continue
		}
		more := float32(gateRange*(hi-lo)) + float32(gateLight*max(hi, 0)) + float32(gateNoise*sigma(hi))
		g.low[i], g.high[i] = lo-more, hi+more
	}
	return g
}

// highest writes the highest value within gateReach pixels along and down, of what there is of them, NaN where any is
// unknown. dst may be src.
func highest(dst, src []float32, w, h int) {
	const wide = 2*gateReach + 1
	run := make([]float32, max(w, h)+2*gateReach)
	line := func(n, at, step int) {
		first, last := dst[at], dst[at+(n-1)*step]
		for k := range gateReach { // beyond the border lies what stands at it
			run[k], run[n+gateReach+k] = first, last
		}
		for k := range n {
			run[gateReach+k] = dst[at+k*step]
		}
		reach := 1
		for ; 2*reach <= wide; reach *= 2 { // the highest of each two, four, …
			for k := range n + 2*gateReach - reach {
				run[k] = max(run[k], run[k+reach])
			}
		}
		for k := range n {
			dst[at+k*step] = max(run[k], run[k+wide-reach])
		}
	}
	copy(dst, src)
	for y := range h {
		line(w, y*w, 1)
	}
	for x := range w {
		line(h, x, w)
	}
}

// gateShare is the least weight of a site's samples about a place, of a frame without filters, by which they are judged:
// with less they hardly count there, and say little.
const gateShare = 0.4

// close takes the weight off places of row y in which any channel lies outside.
func (g *gate) close(l *layer, f *laid, y int) {
	low, high := g.rows(l, y)
	dim := float32(g.noise * max(0, 1/f.gain-1)) // by what the noise grows when a cloud's dimming is made up for
	gated := l.s.gated[y*l.s.c.W:]
	shut := func(x int) {
		if l.wt[x] != 0 {
			l.wt[x] = 0
			gated[x]++
		}
	}
	for ch, v := range l.value {
		level := g.level[ch]
		for x, v := range v {
			if l.shown[x] && (v < float32(level*low[x])-dim || v > float32(level*high[x])+dim) {
				shut(x)
			}
		}
	}
	if l.mosaic == nil {
		return
	}
	for k, ch := range l.mosaic.sites {
		level, found := g.level[ch], &l.mosaic.found[k]
		for x, v := range found.Value {
			share := float32(f.gain * found.Weight[x])
			lo, hi := float32(level*low[x])-dim, float32(level*high[x])+dim
			if found.Weight[x] >= gateShare && l.shown[x] && (v < float32(share*lo) || v > float32(share*hi)) {
				shut(x)
			}
		}
	}
}

// rows returns the limits along row y of the raster.
func (g *gate) rows(l *layer, y int) (low, high []float32) {
	r := l.line.r
	if r.scale == 1 {
		return g.low[y*r.W : (y+1)*r.W], g.high[y*r.W : (y+1)*r.W]
	}
	nearest := func(place float64, n int) int { return max(0, min(n-1, int(place+0.5))) }
	row := nearest(r.at(y), r.H) * r.W
	if l.low == nil {
		l.low, l.high = make([]float32, len(l.wt)), make([]float32, len(l.wt))
	}
	low, high = l.low, l.high
	for x := range low {
		i := row + nearest(r.at(x), r.W)
		low[x], high[x] = g.low[i], g.high[i]
	}
	return low, high
}
