package stacks

import (
	"math"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/plane"
)

const (
	edgeFade = 12 // px over which a frame fades in from its border
)

// sums is a stack in the making, in two halves of like frames.
type sums struct {
	c      canvas // its sides in pixels of the stack
	raster raster
	half   [2]half
	cover  []float32  // frames that show the place, 0…n
	gated  []float32  // those of them left out there
	full   []float32  // those of them that are saturated there
	noise  *noiseGrid // nil: not asked for
	sites  [3]int     // of a mosaic: how many of four samples a channel has
}

// half is what every other frame adds up to.
type half struct {
	value  [][]float32    // a channel: weight times brightness
	weight [][]float32    // a channel, or one for all where all see every pixel
	lean   [][2][]float32 // a channel of a mosaic: weight times how far right and down its samples lie of the place, px
	frames []float32      // of a mosaic: the frames' weights, wherever their samples lie
}

func newSums(r raster, l raw.Layout) *sums {
	c := r.size()
	n := c.W * c.H
	s := &sums{c: c, raster: r, cover: make([]float32, n), gated: make([]float32, n), full: make([]float32, n)}
	weights := 1
	if mosaicked(l) {
		weights = 3
		for _, row := range siteChannels(l.Pattern) {
			for _, ch := range row {
				s.sites[ch]++
			}
		}
	}
	for k := range s.half {
		h := &s.half[k]
		for range channels(l) {
			h.value = append(h.value, make([]float32, n))
		}
		if mosaicked(l) {
			h.frames = make([]float32, n)
		}
		for range weights {
			h.weight = append(h.weight, make([]float32, n))
			if mosaicked(l) {
				h.lean = append(h.lean, [2][]float32{make([]float32, n), make([]float32, n)})
			}
		}
	}
	return s
}

// halfOf tells which half the frame of a rank goes to: 0 1 1 0 0 1 1 0 …, so that both are equally sharp.
func halfOf(rank int) int { return (rank + 1) / 2 % 2 }

// laid is one frame ready to be added.
type laid struct {
	img    *plane.Image
	full   *fullness // nil: nothing is saturated
	sieve  *sieve    // of a mosaic
	dx, dy float64   // whole-frame shift
	field  field     // local, on the grid; zero: none
	cells  []float32 // weights of the cells
	gain   float32
	half   int
	apart  float32      // px by which channels lie off at most
	colour [][2]float32 // where each channel lies against the field, px
}

// layer adds rows of frames to sums. It is for one goroutine.
type layer struct {
	s      *sums
	line   *line
	weigh  *weigher
	gate   *gate     // nil: everything passes
	mosaic *spreader // of a mosaic

	// of the row at hand, x = 0…W−1
	wt    []float32
	shown []bool      // the frame shows the place
	value [][]float32 // a channel, but of no mosaic

	low, high []float32 // the gate's limits, on a raster finer than the sensor's
}

func newLayer(s *sums, c *clip, g grid, gt *gate) *layer {
	l := &layer{s: s, line: newLine(c, s.raster, g), weigh: newWeigher(&c.tab, c.w, c.h, s.raster), gate: gt,
		wt: make([]float32, s.c.W), shown: make([]bool, s.c.W)}
	if c.mosaicked() {
		l.mosaic = newSpreader(c.idx.Layout.Pattern, s.c.W)
		return l
	}
	for range s.half[0].value {
		l.value = append(l.value, make([]float32, s.c.W))
	}
	return l
}

// addRow adds what a frame shows of row y to a half.
func (l *layer) addRow(f *laid, y int) {
	l.weigh.row(l.wt, f.cells, y)
	l.line.at([2]float64{f.dx, f.dy}, f.field, y)
	l.look(f, y)
	if l.gate != nil {
		l.gate.close(l, f, y)
	}
	if l.s.noise != nil {
		l.s.noise.add(l, f, y)
	}
	at, h := y*l.s.c.W, &l.s.half[f.half]
	if l.mosaic != nil {
		l.mosaic.add(h, at, l.wt, 1/f.gain)
		return
	}
	for ch, v := range l.value {
		lanes.AddProducts(h.value[ch][at:at+len(v)], l.wt, v)
	}
	for _, p := range h.weight {
		lanes.Add(p[at:at+len(l.wt)], l.wt)
	}
}

// look takes the row from the frame: near its border pixel by pixel, further in many at once.
func (l *layer) look(f *laid, y int) {
	x0, x1 := l.line.inside(f.apart)
	deep0, deep1 := l.line.inside(edgeFade)
	if deep0, deep1 = max(deep0, x0), min(deep1, x1); deep0 > deep1 {
		deep0, deep1 = x0, x0
	}
	l.lookRim(f, y, 0, deep0, x0, x1)
	l.lookRim(f, y, deep1, l.s.c.W, x0, x1)
	cover := l.s.cover[y*l.s.c.W:]
	for x := deep0; x < deep1; x++ {
		l.shown[x] = true
		cover[x]++
	}
	if f.full != nil && f.full.any {
		weight := float32(fullWeight)
		if l.mosaic != nil {
			weight = fullMosaic
		}
		full := l.s.full[y*l.s.c.W:]
		for x, px := range l.line.x {
			if l.shown[x] && f.full.at(px, l.line.y[x]) {
				l.wt[x] *= weight
				full[x]++
			}
		}
	}
	if l.mosaic != nil {
		l.mosaic.look(f, l.line, x0, x1)
		return
	}
	inv := 1 / f.gain
	for ch, pix := range f.img.Pix {
		out := l.value[ch][x0:x1]
		for i, v := range l.line.takeOff(pix, x0, x1, f.colour[ch]) {
			out[i] = float32(v * inv)
		}
	}
}

// lookRim looks at places from up to to, which may lie outside the frame, or so near its border that they fade. Those from
// x0 up to x1 are taken with the rest.
func (l *layer) lookRim(f *laid, y, from, to, x0, x1 int) {
	w, h := float32(f.img.W-1), float32(f.img.H-1)
	cover := l.s.cover[y*l.s.c.W:]
	for x := from; x < to; x++ {
		px, py := l.line.x[x], l.line.y[x]
		edge := min(px, py, w-px, h-py)
		l.shown[x] = edge >= 0
		if !l.shown[x] {
			l.wt[x] = 0
			continue
		}
		l.wt[x] *= min(1, (edge+1)*(1.0/edgeFade))
		cover[x]++
		switch {
		case x >= x0 && x < x1:
		case l.mosaic != nil:
			l.mosaic.lookEdge(f, x, px, py)
		default:
			l.lookEdge(f, x, px, py)
		}
	}
}

// lookEdge takes one pixel, whose taps may reach beyond the frame.
func (l *layer) lookEdge(f *laid, x int, px, py float32) {
	inv := 1 / f.gain
	for ch, pix := range f.img.Pix {
		ix, fx := split(max(0, px+f.colour[ch][0]))
		iy, fy := split(max(0, py+f.colour[ch][1]))
		l.value[ch][x] = float32(sampleEdge(pix, f.img.W, ix, iy, fx, fy) * inv)
	}
}

// split cuts a place into a whole pixel and the phase behind it.
func split(p float32) (int, int) {
	q := int(float32(p*tapPhases) + 0.5)
	return q / tapPhases, q % tapPhases
}

// picture returns a channel of a half, NaN where nothing was added.
func (s *sums) picture(h *half, ch int) []float32 {
	if h.lean != nil {
		return s.calm(h, ch).picture
	}
	out := make([]float32, len(h.value[ch]))
	n := h.weight[0]
	for i, v := range h.value[ch] {
		out[i] = float32(math.NaN())
		if n[i] > 0 {
			out[i] = v / n[i]
		}
	}
	return out
}

// both returns the two halves together.
func (s *sums) both() *half {
	a, b := &s.half[0], &s.half[1]
	out := &half{value: together(a.value, b.value), weight: together(a.weight, b.weight)}
	if a.frames != nil {
		out.frames = together([][]float32{a.frames}, [][]float32{b.frames})[0]
	}
	for ch := range a.lean {
		t := together(a.lean[ch][:], b.lean[ch][:])
		out.lean = append(out.lean, [2][]float32{t[0], t[1]})
	}
	return out
}

func together(a, b [][]float32) (out [][]float32) {
	for ch, p := range a {
		sum := make([]float32, len(p))
		for i, v := range p {
			sum[i] = v + b[ch][i]
		}
		out = append(out, sum)
	}
	return out
}

// overexposed returns the share of the frames that show a place in which it is saturated, 0…1.
func (s *sums) overexposed() []float32 {
	out := make([]float32, len(s.full))
	for i, n := range s.full {
		if n > 0 {
			out[i] = n / s.cover[i]
		}
	}
	return out
}

// finish turns the sums into the stack, the share of frames behind each pixel, and how many were added there.
func (s *sums) finish(frames int) (img [][]float32, weight, count []float32) {
	nan := float32(math.NaN())
	weight, count = make([]float32, len(s.cover)), make([]float32, len(s.cover))
	for i, c := range s.cover {
		weight[i] = min(1, c/float32(frames))
		count[i] = c - s.gated[i]
	}
	all := s.both()
	for ch := range all.value {
		out := s.picture(all, ch)
		for i := range out {
			if weight[i] < coverLeast/2 {
				out[i] = nan
			}
		}
		img = append(img, out)
	}
	return img, weight, count
}
