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
}

func newBlockSums(w, h, side int) *blockSums {
	nx, ny := (w+side-1)/side, (h+side-1)/side
	return &blockSums{nx: nx, ny: ny, side: side, energy: make([]float32, nx*ny), level: make([]float32, nx*ny), full: make([]bool, nx*ny)}
}

// measure fills the sums from luma pix, w by h. The operator is the gradient
// behind a slight smoothing, [−1 −2 0 2 1]/8 across [1 2 1]/4: a band-pass about
// 0.16 cycles/px, where the air's blur tells most and noise least.
func (b *blockSums) measure(pix []float32, w, h, ox, oy int) {
	clear(b.energy)
	clear(b.level)
	clear(b.full)
	var smoothed [5][]float32 // rows smoothed along x
	for k := range smoothed {
		smoothed[k] = make([]float32, w)
	}
	line := func(out []float32, y int) {
		s := pix[y*w:][:w]
		for x := 1; x < w-1; x++ {
			out[x] = ((s[x-1] + s[x+1]) + (s[x] + s[x])) * 0.25
		}
	}
	for y := range min(4, h) {
		line(smoothed[y], y)
	}
	e := make([]float32, w)
	for y := energyEdge; y < h-energyEdge; y++ {
		line(smoothed[(y+2)%5], y+2)
		r0, r1, r2, r3, r4 := smoothed[(y-2)%5], smoothed[(y-1)%5], smoothed[y%5], smoothed[(y+1)%5], smoothed[(y+2)%5]
		if w > 4 {
			lanes.Slopes(e[2:w-2], r0[1:], r1[1:], r2[1:], r3[1:], r4[1:])
		}
		b.addRow(e, pix[y*w:][:w], y-oy, ox, w)
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

func (b *blockSums) addRow(e, pix []float32, y, ox, w int) {
	if y < 0 || y >= b.ny*b.side {
		return
	}
	at := y / b.side * b.nx
	for bx := range b.nx {
		x0, x1 := max(bx*b.side+ox, energyEdge), min((bx+1)*b.side+ox, w-energyEdge)
		var se, sl float32
		for x := x0; x < x1; x++ {
			se += e[x]
			sl += pix[x]
		}
		b.energy[at+bx] += se
		b.level[at+bx] += sl
	}
}
