package cells

import "plenilune/steps/kernel/lanes"

// partial is a cell of which the picture knows some pixels only, laid out by itself, so that it can be read whole.
type partial struct {
	gx, gy, pix [Side * Side]float32
	mask        lanes.Mask
	own         Sums
}

// newPartial takes cell (cx, cy) of a picture, nil if none of it is known.
func newPartial(p *Picture, cx, cy int) *partial {
	c, x0, y0 := &partial{}, cx*Side, cy*Side
	for y := range min(Side, p.H-y0) {
		for x := range min(Side, p.W-x0) {
			i, k := (y0+y)*p.W+x0+x, y*Side+x
			if p.Known[i] {
				c.gx[k], c.gy[k], c.pix[k], c.mask[k] = p.GX[i], p.GY[i], p.Pix[i], 1
				c.own.addOwn(p, i)
			}
		}
	}
	if c.own.N == 0 {
		return nil
	}
	return c
}

// ones are masks of a row of which the pixels from … up to … count.
var ones = func() (m [Side + 1][Side + 1][Side]float32) {
	for a := range m {
		for b := range m[a] {
			for x := a; x < b; x++ {
				m[a][b][x] = 1
			}
		}
	}
	return m
}()

// window masks the pixels of a cell from (x0, y0) up to (x1, y1), unless they are masked already.
func window(m, of *lanes.Mask, x0, y0, x1, y1 int) {
	clear(m[:])
	row := &ones[x0][x1]
	for k := y0 * Side; k < y1*Side; k += Side {
		if of == nil {
			copy(m[k:k+Side], row[:])
			continue
		}
		for x, v := range row {
			m[k+x] = v * of[k+x]
		}
	}
}

// patchSide is how many pixels along either side a cell is resampled from.
const patchSide = Side + 3

// cut copies what a frame shows of the pixels from (x, y) on, 0 for those beyond its border.
func cut(dst *[patchSide * patchSide]float32, frame []float32, w, h, x, y int) {
	clear(dst[:])
	a, b := max(0, -x), min(patchSide, w-x)
	for j := max(0, -y); j < min(patchSide, h-y); j++ {
		copy(dst[j*patchSide+a:j*patchSide+b], frame[(y+j)*w+x+a:])
	}
}

// compareEdge is Compare for a cell of which the picture or the frame does not show all. Its first pixel lies at ix and iy of
// the frame.
func (p *Picture) compareEdge(cx, cy int, frame []float32, w, h, ix, iy int, kx, ky *[4]float32) (s Sums) {
	// what the frame shows well of the cell
	xa, xb := max(0, margin-ix), min(Side, w-margin-1-ix)
	ya, yb := max(0, margin-iy), min(Side, h-margin-1-iy)
	if xa >= xb || ya >= yb {
		return s
	}
	at := cy*Side*p.W + cx*Side
	c, width := p.partial[cy*p.NX+cx], Side
	var gx, gy, pix []float32
	var mask *lanes.Mask
	switch {
	case c != nil:
		gx, gy, pix, mask = c.gx[:], c.gy[:], c.pix[:], &c.mask
	case p.whole[cy*p.NX+cx]:
		gx, gy, pix, width = p.GX[at:], p.GY[at:], p.Pix[at:], p.W
	default:
		return s
	}
	if xb-xa == Side && yb-ya == Side {
		s = c.own // or the cell would be whole, and shown whole
	} else {
		var m lanes.Mask
		window(&m, mask, xa, ya, xb, yb)
		mask = &m
		var own lanes.Own
		lanes.Products(&own, gx, gy, pix, width, mask)
		s = Sums{XX: own.Of(lanes.SlopeXX), XY: own.Of(lanes.SlopeXY), YY: own.Of(lanes.SlopeYY),
			PX: own.Of(lanes.OwnX), PY: own.Of(lanes.OwnY), PP: own.Of(lanes.OwnSquare), N: own.Of(lanes.Count)}
	}
	var patch [patchSide * patchSide]float32
	from, stride := patch[:], patchSide
	if ix >= 1 && iy >= 1 && ix+Side+2 <= w && iy+Side+2 <= h {
		from, stride = frame[(iy-1)*w+ix-1:], w
	} else {
		cut(&patch, frame, w, h, ix-1, iy-1)
	}
	var f lanes.Sums
	lanes.CellWithin(&f, from, stride, kx, ky, gx, gy, pix, width, mask)
	s.FX, s.FY, s.FF, s.FP = f.Of(lanes.SlopeX), f.Of(lanes.SlopeY), f.Of(lanes.Square), f.Of(lanes.Likely)
	return s
}
