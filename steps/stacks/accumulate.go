package stacks

import (
	"math"

	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/plane"
)

const (
	edgeFade = 12 // px over which a frame fades in from its border
)

// sums is a stack in the making, in two halves of like frames.
type sums struct {
	c     canvas
	half  [2]half
	cover []float32  // frames that show the place, 0…n
	gated []float32  // those of them left out there
	noise *noiseGrid // nil: not asked for
}

// half is what every other frame adds up to.
type half struct {
	value  [][]float32 // a channel: weight times brightness
	weight [][]float32 // a channel, or one for all where all see every pixel
}

func newSums(c canvas, l raw.Layout) *sums {
	n := c.W * c.H
	s := &sums{c: c, cover: make([]float32, n), gated: make([]float32, n)}
	weights := 1
	if mosaicked(l) {
		weights = 3
	}
	for k := range s.half {
		for range channels(l) {
			s.half[k].value = append(s.half[k].value, make([]float32, n))
		}
		for range weights {
			s.half[k].weight = append(s.half[k].weight, make([]float32, n))
		}
	}
	return s
}

// halfOf tells which half the frame of a rank goes to: 0 1 1 0 0 1 1 0 …, so that both are equally sharp.
func halfOf(rank int) int { return (rank + 1) / 2 % 2 }

// laid is one frame ready to be added.
type laid struct {
	img    *plane.Image
	dx, dy float64   // whole-frame shift
	field  field     // local, on the grid; zero: none
	cells  []float32 // weights of the cells
	gain   float32
	half   int
	reach  float32      // px from a border within which the kernel reaches beyond it
	colour [][2]float32 // where each channel lies against the field, px
}

// layer adds rows of frames to sums. It is for one goroutine.
type layer struct {
	s     *sums
	line  *line
	weigh *weigher
	gate  *gate      // nil: everything passes
	sites *[2][2]int // of a mosaic

	// of the row at hand, x = 0…W−1
	wt    []float32
	shown []bool      // the frame shows the place
	value [][]float32 // a channel; of a mosaic, times share
	share [][]float32 // a channel of a mosaic: how much of a sample lies there
	spent [][]float32 // a channel of a mosaic: the squares of the shares of the samples
}

func newLayer(s *sums, c *clip, g grid, gt *gate) *layer {
	l := &layer{s: s, line: newLine(c, s.c, g), weigh: newWeigher(&c.tab, c.w, c.h), gate: gt,
		wt: make([]float32, s.c.W), shown: make([]bool, s.c.W)}
	rows := func() (out [][]float32) {
		for range s.half[0].value {
			out = append(out, make([]float32, s.c.W))
		}
		return out
	}
	l.value = rows()
	if c.mosaicked() {
		l.sites = siteChannels(c.idx.Layout.Pattern)
		l.share, l.spent = rows(), rows()
	}
	return l
}

// addRow adds what a frame shows of row y to a half.
func (l *layer) addRow(f *laid, y int) {
	l.weigh.row(l.wt, f.cells, l.s.c, y)
	l.line.at([2]float64{f.dx, f.dy}, f.field, y)
	l.look(f, y)
	at := y * l.s.c.W
	if l.gate != nil {
		l.gate.close(l, at)
	}
	if l.s.noise != nil {
		l.s.noise.add(l, f, y)
	}
	h := &l.s.half[f.half]
	for ch, v := range l.value {
		sum := h.value[ch][at : at+len(v)]
		for x, k := range l.wt {
			sum[x] += float32(k * v[x])
		}
	}
	for ch, p := range h.weight {
		sum := p[at : at+len(l.wt)]
		for x, k := range l.wt {
			if l.share != nil {
				k = float32(k * l.share[ch][x])
			}
			sum[x] += k
		}
	}
}

// look takes the row from the frame: near its border pixel by pixel, further in many at once.
func (l *layer) look(f *laid, y int) {
	w, h := float32(f.img.W-1), float32(f.img.H-1)
	x0, x1 := l.line.inside(f.reach - edgeTaps)
	cover := l.s.cover[y*l.s.c.W:]
	for x, px := range l.line.x {
		py := l.line.y[x]
		edge := min(px, py, w-px, h-py)
		l.shown[x] = edge >= 0
		if !l.shown[x] {
			l.wt[x] = 0
			continue
		}
		l.wt[x] *= min(1, (edge+1)*(1.0/edgeFade))
		cover[x]++
		switch {
		case l.sites != nil:
			l.lookMosaic(f, x, px, py)
		case x < x0 || x >= x1:
			l.lookEdge(f, x, px, py)
		}
	}
	if l.sites == nil {
		inv := 1 / f.gain
		for ch, pix := range f.img.Pix {
			out := l.value[ch][x0:x1]
			for i, v := range l.line.takeOff(pix, x0, x1, f.colour[ch]) {
				out[i] = float32(v * inv)
			}
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

// mosaicSigma is how far a filtered sample reaches, in pixels, when it is laid at
// its true place.
const (
	mosaicSigma = 0.6
	mosaicReach = 2
)

var mosaicTaps = makeMosaicTaps()

func makeMosaicTaps() (t [tapPhases + 1][2 * mosaicReach]float32) {
	for k := range t {
		for j := range t[k] {
			d := (float64(j-mosaicReach+1) - float64(float64(k)/tapPhases)) / mosaicSigma
			t[k][j] = float32(gauss(d))
		}
	}
	return t
}

// lookMosaic takes the samples about a place into their own channels, weighted by
// their distance (normalised convolution, Knutsson & Westin 1993; on raw mosaics
// after Fruchter & Hook 2002): no colour is ever guessed from its neighbours.
func (l *layer) lookMosaic(f *laid, x int, px, py float32) {
	inv := 1 / f.gain
	for ch := range 3 {
		v, n, q := l.colourAt(f, ch, max(0, px+f.colour[ch][0]), max(0, py+f.colour[ch][1]))
		l.value[ch][x], l.share[ch][x], l.spent[ch][x] = float32(v*inv), n, q
	}
}

// colourAt sums the samples of one colour about a place, their weights, and the squares of these.
func (l *layer) colourAt(f *laid, ch int, px, py float32) (v, n, q float32) {
	ix, fx := split(px)
	iy, fy := split(py)
	kx, ky := &mosaicTaps[fx], &mosaicTaps[fy]
	for j := range 2 * mosaicReach {
		y := iy - mosaicReach + 1 + j
		if y < 0 || y >= f.img.H {
			continue
		}
		row := f.img.Pix[0][y*f.img.W:]
		site := &l.sites[y&1]
		for m := range 2 * mosaicReach {
			x := ix - mosaicReach + 1 + m
			if x < 0 || x >= f.img.W || site[x&1] != ch {
				continue
			}
			k := float32(ky[j] * kx[m])
			v += float32(k * row[x])
			n += k
			q += float32(k * k)
		}
	}
	return v, n, q
}

// siteChannels returns which channel each site of a pattern belongs to, [y&1][x&1]:
// red, green and blue are 0, 1 and 2, and so are cyan, yellow and magenta.
func siteChannels(pattern string) *[2][2]int {
	var s [2][2]int
	for k, c := range pattern[:4] {
		ch := 1
		switch c {
		case 'R', 'C':
			ch = 0
		case 'B', 'M':
			ch = 2
		}
		s[k/2][k%2] = ch
	}
	return &s
}

// of returns a channel's mean in one half, NaN where nothing was added.
func (h *half) of(ch int) []float32 {
	v, n := h.value[ch], h.weight[min(ch, len(h.weight)-1)]
	out := make([]float32, len(v))
	for i := range out {
		out[i] = float32(math.NaN())
		if n[i] > 0 {
			out[i] = v[i] / n[i]
		}
	}
	return out
}

// both returns the two halves together.
func (s *sums) both() half {
	add := func(a, b [][]float32) (out [][]float32) {
		for ch, p := range a {
			sum := make([]float32, len(p))
			for i, v := range p {
				sum[i] = v + b[ch][i]
			}
			out = append(out, sum)
		}
		return out
	}
	a, b := &s.half[0], &s.half[1]
	return half{add(a.value, b.value), add(a.weight, b.weight)}
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
		out := all.of(ch)
		for i := range out {
			if weight[i] < coverLeast/2 {
				out[i] = nan
			}
		}
		img = append(img, out)
	}
	return img, weight, count
}
