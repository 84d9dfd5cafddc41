package stacks

import (
	"math"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

const (
	edgeFade = 12 // px over which a frame fades in from its border
)

// sums is a stack in the making.
type sums struct {
	c      canvas // its sides in pixels of the stack
	raster raster
	mosaic bool
	value  [][]float32    // a channel: weight times brightness
	weight [][]float32    // a channel, or one for all where all see every pixel
	lean   [][2][]float32 // a channel of a mosaic: weight times how far right and down its samples lie of the place, px
	cover  []float32      // frames that show the place, 0…n
}

func newSums(r raster, l raw.Layout) *sums {
	c := r.size()
	n := c.W * c.H
	s := &sums{c: c, raster: r, cover: make([]float32, n)}
	for range channels(l) {
		s.value = append(s.value, make([]float32, n))
	}
	weights := 1
	if mosaicked(l) {
		s.mosaic, weights = true, 3
	}
	for range weights {
		s.weight = append(s.weight, make([]float32, n))
		if s.mosaic {
			s.lean = append(s.lean, [2][]float32{make([]float32, n), make([]float32, n)})
		}
	}
	return s
}

// laid is one frame ready to be added.
type laid struct {
	img    *plane.Image
	sieve  *sieve    // of a mosaic
	dx, dy float64   // whole-frame shift
	field  field     // local, on the grid; zero: none
	cells  []float32 // weights of the cells
	gain   float32
	reach  float32      // px from a border within which the kernel reaches beyond it
	colour [][2]float32 // where each channel lies against the field, px
}

// layer adds rows of frames to sums. It is for one goroutine.
type layer struct {
	s      *sums
	line   *line
	weigh  *weigher
	wt     []float32
	mosaic *spreader // of a mosaic
}

func newLayer(s *sums, c *clip, g grid) *layer {
	l := &layer{s: s, line: newLine(c, s.raster, g), weigh: newWeigher(&c.tab, c.w, c.h, s.raster), wt: make([]float32, s.c.W)}
	if c.mosaicked() {
		l.mosaic = newSpreader(c.idx.Layout.Pattern, s.c.W)
	}
	return l
}

// addRow adds what a frame shows of row y: near its border pixel by pixel, further in many at once.
func (l *layer) addRow(f *laid, y int) {
	c := l.s.c
	l.weigh.row(l.wt, f.cells, y)
	l.line.at([2]float64{f.dx, f.dy}, f.field, y)
	w, h := float32(f.img.W-1), float32(f.img.H-1)
	x0, x1 := l.line.inside(f.reach - edgeTaps)
	for x, px := range l.line.x {
		py := l.line.y[x]
		edge := min(px, py, w-px, h-py)
		if !(edge >= 0) {
			continue
		}
		l.wt[x] *= min(1, (edge+1)*(1.0/edgeFade))
		l.s.cover[y*c.W+x]++
		switch {
		case x >= x0 && x < x1:
		case l.mosaic != nil:
			l.spreadEdge(f, y*c.W+x, px, py, l.wt[x])
		default:
			l.addEdge(f, y*c.W+x, px, py, l.wt[x])
		}
	}
	if l.mosaic != nil {
		l.spread(f, y*c.W, x0, x1)
	} else {
		l.addRun(f, y*c.W, x0, x1)
	}
}

// addEdge adds one pixel, whose taps may reach beyond the frame.
func (l *layer) addEdge(f *laid, i int, px, py, wt float32) {
	inv := 1 / f.gain
	l.s.weight[0][i] += wt
	for ch, pix := range f.img.Pix {
		ix, fx := split(max(0, px+f.colour[ch][0]))
		iy, fy := split(max(0, py+f.colour[ch][1]))
		l.s.value[ch][i] += float32(wt * float32(sampleEdge(pix, f.img.W, ix, iy, fx, fy)*inv))
	}
}

// addRun adds pixels x0 to x1 of the row that begins at pixel at.
func (l *layer) addRun(f *laid, at, x0, x1 int) {
	inv := 1 / f.gain
	wt := l.wt[x0:x1]
	sum := l.s.weight[0][at+x0 : at+x1]
	for i, k := range wt {
		sum[i] += k
	}
	for ch, pix := range f.img.Pix {
		v := l.line.takeOff(pix, x0, x1, f.colour[ch])
		sum := l.s.value[ch][at+x0 : at+x1]
		for i, k := range wt {
			sum[i] += float32(k * float32(v[i]*inv))
		}
	}
}

// split cuts a place into a whole pixel and the phase behind it.
func split(p float32) (int, int) {
	q := int(float32(p*tapPhases) + 0.5)
	return q / tapPhases, q % tapPhases
}

// finish turns the sums into the stack and the share of frames behind each pixel.
func (s *sums) finish(frames int) (img [][]float32, weight []float32) {
	nan := float32(math.NaN())
	weight = make([]float32, len(s.cover))
	for i, c := range s.cover {
		weight[i] = min(1, c/float32(frames))
	}
	for ch, v := range s.value {
		out := make([]float32, len(v))
		n := s.weight[min(ch, len(s.weight)-1)]
		if s.mosaic {
			s.calm(out, ch)
		}
		for i := range v {
			switch {
			case !(weight[i] >= coverLeast/2) || !s.mosaic && !(n[i] > 0):
				out[i] = nan
			case !s.mosaic:
				out[i] = v[i] / n[i]
			}
		}
		img = append(img, out)
	}
	return img, weight
}
