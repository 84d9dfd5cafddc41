// Package cells compares a frame with a picture of the same ground in cells of 8 by 8 pixels, each displaced by its
// own amount: the sums from which displacements are found by least squares (Lucas & Kanade 1981, "An iterative image
// registration technique with an application to stereo vision").
package cells

import (
	"slices"

	"plenilune/steps/kernel/lanes"
)

// Side is a cell's side in pixels.
const Side = lanes.Width

// margin is how many pixels at a frame's border are not looked at: filters know less there. The taps reach beyond
// by one pixel before a place and two behind it.
const margin = 2

// Picture is what frames are compared with: its pixels, and their slopes along and down.
type Picture struct {
	W, H        int
	Pix, GX, GY []float32
	Known       []bool // pixels that are compared
	NX, NY      int    // cells; those at the right and at the bottom may be cut off
	whole       []bool // every pixel of the cell is known
	own         []Sums // of whole cells: the sums in which no frame plays a part
	partial     []*partial
}

// NewPicture takes pixels of w by h and which of them are known. Slopes are central differences, 0 at the border.
func NewPicture(pix []float32, known []bool, w, h int) *Picture {
	p := &Picture{W: w, H: h, Pix: pix, GX: make([]float32, w*h), GY: make([]float32, w*h), Known: known,
		NX: (w + Side - 1) / Side, NY: (h + Side - 1) / Side}
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			p.GX[i] = 0.5 * (pix[i+1] - pix[i-1])
			p.GY[i] = 0.5 * (pix[i+w] - pix[i-w])
		}
	}
	n := p.NX * p.NY
	p.whole, p.own, p.partial = make([]bool, n), make([]Sums, n), make([]*partial, n)
	for cy := range p.NY {
		for cx := range p.NX {
			k := cy*p.NX + cx
			if p.whole[k] = p.knowsAll(cx, cy); p.whole[k] {
				for y := cy * Side; y < (cy+1)*Side; y++ {
					for i := y*w + cx*Side; i < y*w+(cx+1)*Side; i++ {
						p.own[k].addOwn(p, i)
					}
				}
			} else {
				p.partial[k] = newPartial(p, cx, cy)
			}
		}
	}
	return p
}

// knowsAll tells whether every pixel of a cell is known.
func (p *Picture) knowsAll(cx, cy int) bool {
	if (cx+1)*Side > p.W || (cy+1)*Side > p.H {
		return false
	}
	for y := cy * Side; y < (cy+1)*Side; y++ {
		if slices.Contains(p.Known[y*p.W+cx*Side:][:Side], false) {
			return false
		}
	}
	return true
}

// Own returns the sums of the known pixels of cell (cx, cy) in which no frame plays a part; the others are 0.
func (p *Picture) Own(cx, cy int) Sums {
	k := cy*p.NX + cx
	if c := p.partial[k]; c != nil {
		return c.own
	}
	return p.own[k]
}

// Sums are those of one cell or of many.
type Sums struct {
	XX, XY, YY     float64 // slopes by slopes
	FX, FY, PX, PY float64 // frame and picture by slopes
	FF, FP, PP, N  float64 // frame and picture by themselves; pixels
}

// Add adds o.
func (s *Sums) Add(o *Sums) {
	s.XX += o.XX
	s.XY += o.XY
	s.YY += o.YY
	s.FX += o.FX
	s.FY += o.FY
	s.PX += o.PX
	s.PY += o.PY
	s.FF += o.FF
	s.FP += o.FP
	s.PP += o.PP
	s.N += o.N
}

// AddTimes adds k times o.
func (s *Sums) AddTimes(o *Sums, k float64) {
	s.XX += float64(k * o.XX)
	s.XY += float64(k * o.XY)
	s.YY += float64(k * o.YY)
	s.FX += float64(k * o.FX)
	s.FY += float64(k * o.FY)
	s.PX += float64(k * o.PX)
	s.PY += float64(k * o.PY)
	s.FF += float64(k * o.FF)
	s.FP += float64(k * o.FP)
	s.PP += float64(k * o.PP)
	s.N += float64(k * o.N)
}

func (s *Sums) addOwn(p *Picture, i int) {
	v, x, y := float64(p.Pix[i]), float64(p.GX[i]), float64(p.GY[i])
	s.XX += float64(x * x)
	s.XY += float64(x * y)
	s.YY += float64(y * y)
	s.PX += float64(x * v)
	s.PY += float64(y * v)
	s.PP += float64(v * v)
	s.N++
}

// Compare returns the sums of cell (cx, cy) with a frame of w by h pixels, the content of whose pixel (x, y) is
// looked for at (x+dx, y+dy). Pixels that the frame does not show, or not well, do not count.
func (p *Picture) Compare(cx, cy int, frame []float32, w, h int, dx, dy float32) Sums {
	x0, y0 := cx*Side, cy*Side
	ix, kx := taps(float32(x0) + dx)
	iy, ky := taps(float32(y0) + dy)
	k := cy*p.NX + cx
	if !p.whole[k] || ix < margin || iy < margin || ix+Side+margin >= w || iy+Side+margin >= h {
		return p.compareEdge(cx, cy, frame, w, h, ix, iy, kx, ky)
	}
	var f lanes.Sums
	at := y0*p.W + x0
	lanes.Cell(&f, frame[(iy-1)*w+ix-1:], w, kx, ky, p.GX[at:], p.GY[at:], p.Pix[at:], p.W)
	s := p.own[k]
	s.FX, s.FY, s.FF, s.FP = f.Of(lanes.SlopeX), f.Of(lanes.SlopeY), f.Of(lanes.Square), f.Of(lanes.Likely)
	return s
}

// At interpolates a picture of width w; the pixels from one before the place to two behind it must lie inside.
func At(pix []float32, w int, x, y float32) float32 {
	ix, kx := taps(x)
	iy, ky := taps(y)
	return at(pix, w, ix, iy, kx, ky)
}

func at(pix []float32, w, ix, iy int, kx, ky *[4]float32) float32 {
	var row [4]float32
	for j := range row {
		q := pix[(iy-1+j)*w+ix-1:][:4]
		row[j] = (float32(kx[0]*q[0]) + float32(kx[1]*q[1])) + (float32(kx[2]*q[2]) + float32(kx[3]*q[3]))
	}
	return (float32(ky[0]*row[0]) + float32(ky[1]*row[1])) + (float32(ky[2]*row[2]) + float32(ky[3]*row[3]))
}

// phases is for how many places between two pixels taps are kept: less than 0.002 px off.
const phases = 256

// keys holds the weights of the cubic kernel of Keys (1981, a = −½) on the pixels −1…2 about a place.
var keys = makeKeys()

func makeKeys() (t [phases][4]float32) {
	for k := range t {
		x := float64(float64(k) / phases)
		x2 := float64(x * x)
		x3 := float64(x2 * x)
		t[k] = [4]float32{
			float32(0.5 * ((x2 - x3) + (x2 - x))),
			float32(1 + float64(0.5*(float64(3*x3)-float64(5*x2)))),
			float32(0.5 * ((x + float64(4*x2)) - float64(3*x3))),
			float32(0.5 * (x3 - x2)),
		}
	}
	return t
}

// taps cuts a place into a whole pixel and the weights about what is behind it.
func taps(p float32) (int, *[4]float32) {
	q := int(float32(p*phases) + (phases*4096 + 0.5)) // rounds down below zero too
	q -= phases * 4096
	return q >> 8, &keys[q&(phases-1)]
}
