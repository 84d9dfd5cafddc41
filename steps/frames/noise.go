package frames

import (
	"cmp"
	"slices"

	"plenilune/steps/kernel/robust"
)

const (
	noiseBlock = 16
	noiseBins  = 10
	// noiseLow picks the blocks of least variance in a bin: those with no detail.
	// Of 256 pixels the variance scatters by some 15 %, so that the lower fifth of
	// textureless blocks begins noiseBias below the mean.
	noiseLow  = 0.2
	noiseBias = 0.88
)

// noiseModel is the variance of a pixel against its level: what the sensor and
// the converter add, and the photons' own share, which grows with the light.
type noiseModel struct{ base, slope float64 }

func (m noiseModel) at(level float64) float64 { return max(0, m.base+float64(m.slope*level)) }

// ofSample returns the noise of one sample, where the model is of the brightness of so many planes: that of three colours,
// (R+2G+B)/4, has 6/16 of it.
func (m noiseModel) ofSample(planes int) sampleNoise {
	k := 1.0
	if planes == 3 {
		k = 16.0 / 6
	}
	return sampleNoise{float64(k * m.base), float64(k * m.slope)}
}

// noiseSample is one block's level and variance.
type noiseSample struct{ level, variance float64 }

// measureNoise measures blocks of a plane with the mask [1 −2 1]ᵀ[1 −2 1]/6, which
// leaves planes and slow curves out (Immerkær 1996, CVIU 64:300), taps step pixels apart.
func measureNoise(pix []float32, w, h, step int) []noiseSample {
	var out []noiseSample
	for y0 := step; y0+noiseBlock <= h-step; y0 += noiseBlock {
		for x0 := step; x0+noiseBlock <= w-step; x0 += noiseBlock {
			var sum, level float32
			for y := y0; y < y0+noiseBlock; y++ {
				a, b, c := pix[(y-step)*w:][:w], pix[y*w:][:w], pix[(y+step)*w:][:w]
				for x := x0; x < x0+noiseBlock; x++ {
					l, r := x-step, x+step
					corner := (a[l] + a[r]) + (c[l] + c[r])
					side := (a[x] + c[x]) + (b[l] + b[r])
					v := corner - (side + side) + float32(4*b[x])
					sum += float32(v * v)
					level += b[x]
				}
			}
			const n = noiseBlock * noiseBlock
			out = append(out, noiseSample{float64(level) / n, float64(sum) / (36 * n)})
		}
	}
	return out
}

// fitNoise draws a line through the quiet blocks of each level.
func fitNoise(s []noiseSample) noiseModel {
	if len(s) == 0 {
		return noiseModel{}
	}
	s = slices.Clone(s)
	slices.SortStableFunc(s, func(a, b noiseSample) int { return cmp.Compare(a.level, b.level) })
	var level, variance []float64
	lo, hi := s[0].level, s[len(s)-1].level
	for k := range noiseBins {
		var lv, vr []float64
		for _, p := range s {
			if b := int((p.level - lo) / (hi - lo + 1e-12) * noiseBins); b == k {
				lv, vr = append(lv, p.level), append(vr, p.variance)
			}
		}
		if len(lv) >= 8 {
			level = append(level, robust.Median(lv))
			variance = append(variance, robust.Quantile(vr, noiseLow)/noiseBias)
		}
	}
	return lineThrough(level, variance)
}

// lineThrough is the line with neither end below 0 that misses the points least in
// proportion to their own height, since a variance scatters in proportion to itself.
func lineThrough(x, y []float64) noiseModel {
	var n, sx, sy, xx, xy float64
	for i := range x {
		if y[i] <= 0 {
			continue
		}
		w := 1 / float64(y[i]*y[i])
		n += w
		sx += float64(w * x[i])
		sy += float64(w * y[i])
		xx += float64(w * float64(x[i]*x[i]))
		xy += float64(w * float64(x[i]*y[i]))
	}
	if n == 0 {
		return noiseModel{}
	}
	m := noiseModel{base: sy / n}
	if det := float64(n*xx) - float64(sx*sx); det > 1e-9*n*xx {
		m.slope = max(0, (float64(n*xy)-float64(sx*sy))/det)
		m.base = (sy - float64(m.slope*sx)) / n
	}
	if m.base < 0 {
		return noiseModel{slope: xy / xx}
	}
	return m
}
