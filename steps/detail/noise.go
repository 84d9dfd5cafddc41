package detail

import (
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

const noiseBlock = 32 // pixels

// noiseSigma returns the noise's standard deviation, from the finest level of a
// picture: in blocks, by the median absolute deviation, and of the blocks on lit
// ground a quiet one, since in the others detail adds to it. at gives a pixel of
// that level, whether it counts and whether it is lit. Without any block it is 0.
func noiseSigma(w, h int, at func(i int) (finest float32, usable, lit bool)) float64 {
	var onLit, all []float64
	own := make([]float32, 0, noiseBlock*noiseBlock)
	var scratch robust.Scratch[float32]
	for y0 := 0; y0 < h; y0 += noiseBlock {
		for x0 := 0; x0 < w; x0 += noiseBlock {
			own = own[:0]
			bright := 0
			for y := y0; y < min(y0+noiseBlock, h); y++ {
				for x := x0; x < min(x0+noiseBlock, w); x++ {
					v, usable, lit := at(y*w + x)
					if !usable {
						continue
					}
					own = append(own, v)
					if lit {
						bright++
					}
				}
			}
			if len(own) < noiseBlock*noiseBlock/2 {
				continue
			}
			_, mad := scratch.MAD(own)
			s := robust.MADToSigma * mad / wavelet.NoiseFactor(0)
			if s > 0 {
				all = append(all, s)
				if 2*bright > len(own) {
					onLit = append(onLit, s)
				}
			}
		}
	}
	if len(onLit) > 0 {
		all = onLit
	}
	if len(all) == 0 {
		return 0
	}
	return robust.Quantile(all, 0.25)
}
