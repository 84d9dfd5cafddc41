package frames

import "plenilune/steps/kernel/lanes"

// energyNoise is what white noise of variance 1 adds to gradientEnergy's mean:
// the sum of squared taps of [−1 −2 0 2 1]/8 across [1 2 1]/4, for both directions.
const energyNoise = 2 * (10.0 / 64) * (6.0 / 16)

// energyNoiseMosaic is the same for the luma of a mosaic, whose noise was white
// before [1 2 1]ᵀ[1 2 1]/16: taps [−1 −4 −5 0 5 4 1]/32 across [1 4 6 4 1]/16.
const energyNoiseMosaic = 2 * (84.0 / 1024) * (70.0 / 256)

// energyEdge is how many pixels at a border the operator cannot fill.
const energyEdge = 2

// blockSums adds up what a frame shows of square blocks that are fixed to the
// reference, ox and oy pixels further left and up than they lie in the frame.
type blockSums struct {
	nx, ny, side int
	energy       []float32 // mean squared gradient of the block
	level        []float32 // mean brightness
	full         []bool    // the whole block is in the frame
	rows         [5][]float32
	slope        []float32
	sum          [2][]float32 // squared slopes and pixels of a row of blocks, by column
}

func newBlockSums(w, h, side int) *blockSums {
	nx, ny := (w+side-1)/side, (h+side-1)/side
	b := &blockSums{nx: nx, ny: ny, side: side, energy: make([]float32, nx*ny), level: make([]float32, nx*ny), full: make([]bool, nx*ny)}
	for k := range b.rows {
		b.rows[k] = make([]float32, w)
	}
	b.slope = make([]float32, w)
	b.sum = [2][]float32{make([]float32, w), make([]float32, w)}
	return b
}

// measure fills the sums from luma pix, w by h. The operator is the gradient
// behind a slight smoothing, [−1 −2 0 2 1]/8 across [1 2 1]/4: a band-pass about
// 0.16 cycles/px, where the air's blur tells most and noise least.
func (b *blockSums) measure(pix []float32, w, h, ox, oy int) {
	clear(b.energy)
	clear(b.level)
	clear(b.full)
	line := func(y int) {
		out, p := b.rows[y%5][1:w-1], pix[y*w:][:w]
		clear(out)
		lanes.AddPairs(out, p, p[2:], p[1:], p[1:], 0.25, 0.25)
	}
	if w <= 2*energyEdge || h <= 2*energyEdge {
		return
	}
	for y := range 2 * energyEdge {
		line(y)
	}
	for y := energyEdge; y < h-energyEdge; y++ {
		line(y + 2)
		r := func(d int) []float32 { return b.rows[(y+d)%5][1:] }
		lanes.Slopes(b.slope[2:w-2], r(-2), r(-1), r(0), r(1), r(2))
		b.addRow(pix[y*w:][:w], y-oy)
		if (y-oy+1)%b.side == 0 || y == h-energyEdge-1 {
			b.closeRow(y-oy, ox, w)
		}
	}
	k := 1 / float32(b.side*b.side)
	for by := range b.ny {
		for bx := range b.nx {
			x0, y0 := bx*b.side+ox, by*b.side+oy
			i := by*b.nx + bx
			b.full[i] = x0 >= energyEdge && y0 >= energyEdge && x0+b.side <= w-energyEdge && y0+b.side <= h-energyEdge
			b.energy[i] *= k
			b.level[i] *= k
		}
	}
}

// addRow adds a row of the frame, y from the reference's first, to the columns.
func (b *blockSums) addRow(pix []float32, y int) {
	if y < 0 || y >= b.ny*b.side {
		return
	}
	lanes.Add(b.sum[0], b.slope)
	lanes.Add(b.sum[1], pix)
}

// closeRow adds the columns up into the row of blocks that ends at y.
func (b *blockSums) closeRow(y, ox, w int) {
	if y >= 0 && y < b.ny*b.side {
		at := y / b.side * b.nx
		for bx := range b.nx {
			x0, x1 := max(bx*b.side+ox, energyEdge), min((bx+1)*b.side+ox, w-energyEdge)
			for x := x0; x < x1; x++ {
				b.energy[at+bx] += b.sum[0][x]
				b.level[at+bx] += b.sum[1][x]
			}
		}
	}
	clear(b.sum[0])
	clear(b.sum[1])
}
