package lanes

// Mask says of each pixel of a cell, row by row, whether it counts, 1, or not, 0.
type Mask [Width * Width]float32

// CellWithin is Cell of the pixels that count.
func CellWithin(out *Sums, pix []float32, stride int, kx, ky *[4]float32, gx, gy, p []float32, width int, mask *Mask) {
	_ = pix[10*stride+10]
	last := 7*width + 7
	_, _, _ = gx[last], gy[last], p[last]
	if fast {
		cellWithinAVX2((*[4][Width]float32)(out), &pix[0], stride, kx, ky, &gx[0], &gy[0], &p[0], width, (*[Width * Width]float32)(mask))
		return
	}
	cell(out, pix, stride, kx, ky, gx, gy, p, width, mask)
}

// Own are seven sums over a cell in which no frame plays a part: over its rows in each lane.
type Own [7][Width]float32

// The sums of Products, by index.
const (
	SlopeXX   = iota // gx·gx
	SlopeXY          // gx·gy
	SlopeYY          // gy·gy
	OwnX             // gx·p
	OwnY             // gy·p
	OwnSquare        // p·p
	Count            // pixels
)

// Of returns sum k over all lanes.
func (s *Own) Of(k int) float64 { return across(&s[k]) }

// Products sums up the products with each other of gx, gy and p over the pixels of a cell that count. They begin at the
// cell and have rows of width.
func Products(out *Own, gx, gy, p []float32, width int, mask *Mask) {
	last := 7*width + 7
	_, _, _ = gx[last], gy[last], p[last]
	if fast {
		productsAVX2((*[7][Width]float32)(out), &gx[0], &gy[0], &p[0], width, (*[Width * Width]float32)(mask))
		return
	}
	products(out, gx, gy, p, width, mask)
}

func products(out *Own, gx, gy, p []float32, width int, mask *Mask) {
	*out = Own{}
	for y := range Width {
		for x := range Width {
			i, m := y*width+x, mask[y*Width+x]
			a, b, c := m*gx[i], m*gy[i], m*p[i]
			out[SlopeXX][x] += float32(a * gx[i])
			out[SlopeXY][x] += float32(a * gy[i])
			out[SlopeYY][x] += float32(b * gy[i])
			out[OwnX][x] += float32(a * p[i])
			out[OwnY][x] += float32(b * p[i])
			out[OwnSquare][x] += float32(c * p[i])
			out[Count][x] += m
		}
	}
}
