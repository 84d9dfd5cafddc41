package stacks

import (
	"sort"

	"plenilune/steps/kernel/lanes"
)

// How far, in pixels, what the resampling reads may lie from its place: before it, along and down; behind it along; and
// down, where the last row must leave room for what is read but counts nothing.
const (
	readBefore = 3
	readAlong  = 4
	readDown   = 6
)

// line says where in a frame the pixels of a row of the raster lie, and takes them from there. It is for one
// goroutine.
type line struct {
	r            raster
	w, h         int // of the frames
	rows         *rowReader
	along        []float32 // columns, in pixels of the sensor
	x, y         []float32
	none         []float32
	sure0, sure1 int // columns that lie so far inside the frame that inside need not look
	places       lanes.Places
	value        []float32
}

func newLine(c *clip, r raster, g grid) *line {
	w := r.size().W
	l := &line{r: r, w: c.w, h: c.h, rows: newRowReader(g, r), along: make([]float32, w),
		x: make([]float32, w), y: make([]float32, w), none: make([]float32, w), places: lanes.NewPlaces(w), value: make([]float32, w)}
	for x := range l.along {
		l.along[x] = float32(r.at(x))
	}
	return l
}

// at goes to row y of the raster in a frame with a shift and a field, which may be none.
func (l *line) at(shift [2]float64, f field, y int) {
	var across, down bounds
	if f.X != nil {
		across = l.rows.row(l.x, f.X, y)
		down = l.rows.row(l.y, f.Y, y)
	} else {
		clear(l.x)
		clear(l.y)
	}
	bx, by := float32(float64(l.r.X)+shift[0]), float32((l.r.at(y)+float64(l.r.Y))+shift[1])
	lanes.Advance(l.x, l.along, bx)
	lanes.Advance(l.y, l.none, by)
	l.sure0, l.sure1 = l.sure(across.moved(bx), down.moved(by))
}

// sure returns columns that lie at least sureFar inside the frame, if their displacements lie within these bounds.
func (l *line) sure(across, down bounds) (x0, x1 int) {
	const far = sureFar + readDown
	if down.lo < far || down.hi > float32(l.h-1)-far {
		return 0, 0
	}
	x0 = sort.Search(len(l.along), func(x int) bool { return l.along[x]+across.lo >= far })
	x1 = sort.Search(len(l.along), func(x int) bool { return l.along[x]+across.hi > float32(l.w-1)-far })
	return x0, max(x0, x1)
}

// sureFar is the most, in pixels, that inside is asked for, and what rounding may amount to.
const sureFar = edgeFade + 0.1

// inside returns the first run of pixels, x0 up to x1, that can be read from places up to so many pixels off, all of them
// within the frame.
func (l *line) inside(off float32) (x0, x1 int) {
	sure0, sure1 := l.sure0, l.sure1
	if off > edgeFade || sure0 == sure1 {
		sure0, sure1 = len(l.x), len(l.x)
	}
	m := readBefore + off
	right, low := float32(l.w-1-readAlong)-off, float32(l.h-1-readDown)-off
	in := func(x int) bool { return l.x[x] >= m && l.y[x] >= m && l.x[x] <= right && l.y[x] <= low }
	for x0 < len(l.x) && !in(x0) {
		x0++
	}
	for x1 = x0; x1 < len(l.x) && in(x1); {
		if x1++; x1 >= sure0 {
			x1 = max(x1, sure1)
		}
	}
	return x0, x1
}

// take interpolates pixels x0 to x1, which lie inside, from a frame's pixels; they last until the next call.
func (l *line) take(pix []float32, x0, x1 int) []float32 {
	return l.takeOff(pix, x0, x1, [2]float32{})
}

// takeOff is take at places off by some pixels.
func (l *line) takeOff(pix []float32, x0, x1 int, off [2]float32) []float32 {
	v := l.value[:x1-x0]
	places := l.places.To(len(v))
	lanes.Locate(places, l.x[x0:x1], l.y[x0:x1], off[0], off[1], lanes.Lattice{Stride: int32(l.w), Before: 2, Bits: tapBits})
	lanes.Gather(v, pix, l.w, places, lanczosTaps)
	return v
}

// edgeSpoilt is how many pixels at a frame's border are worth nothing.
const edgeSpoilt = 2

// add adds what a frame shows of the row to sum, and one to n where it shows anything.
func (l *line) add(sum, n, pix []float32) {
	x0, x1 := l.inside(0)
	lanes.Add(sum[x0:x1], l.take(pix, x0, x1))
	for x := x0; x < x1; x++ {
		n[x]++
	}
	w, h := float32(l.w-1), float32(l.h-1)
	for x, px := range l.x {
		py := l.y[x]
		if x >= x0 && x < x1 || !(min(px, py, w-px, h-py) >= edgeSpoilt) {
			continue
		}
		ix, fx := split(px)
		iy, fy := split(py)
		sum[x] += sampleEdge(pix, l.w, ix, iy, fx, fy)
		n[x]++
	}
}
