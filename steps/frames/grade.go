package frames

import (
	"math"

	"plenilune/steps/kernel/robust"
)

// tableCells is the coarse grid of places, fixed to the reference frame: cell
// (cx, cy) is centred on ((cx+½)·w/nx − ½, (cy+½)·h/ny − ½).
type tableCells struct {
	NX    int         `json:"nx"`
	NY    int         `json:"ny"`
	Grade [][]float64 `json:"grade"` // [frame][cell], like the frame's grade but of one place
}

const (
	cellSide  = 32 // px: smaller cells hold too little detail to be graded
	cellsMost = 16 // across
	// gradeShrink pulls a cell with little detail towards its frame's grade: in units
	// of the noise's share of the energy there.
	gradeShrink = 0.25
	// gainLeast is the least brightness of a frame that is made up for: what is left
	// of the Moon behind thicker cloud is nothing to go by.
	gainLeast  = 0.25
	gradeLeast = 0.001 // of a usable frame: 0 stands for rejected
)

// content is what one frame shows of each block fixed to the reference.
type content struct {
	energy []float32 // mean squared gradient, the noise's share taken off; NaN: block not whole in the frame
	noise  []float32 // the share taken off
	level  []float32
}

// pedestalMost is the largest brightness that is taken for the camera's or the
// sky's own and left out when brightness is compared.
const pedestalMost = 0.03

// gains returns how bright each frame's Moon is against the clip's mean: the
// factor between its blocks' levels and the mean ones, above a pedestal. It is a
// ratio of brightness, not of contrast, so that blur does not pass for cloud.
func gains(all []content) []float64 {
	mean := meanOver(all, nil, func(c content) []float32 { return c.level })
	pedestal := max(0, robust.Quantile(mean, 0.02))
	if !(pedestal < pedestalMost) { // no sky in the field
		pedestal = 0
	}
	out := make([]float64, len(all))
	for f, c := range all {
		var xy, xx float64
		for b, v := range c.level {
			if e := c.energy[b]; e == e && mean[b] == mean[b] {
				m := mean[b] - pedestal
				xy += float64(m * (float64(v) - pedestal))
				xx += float64(m * m)
			}
		}
		if xx > 0 && xy > 0 {
			out[f] = xy / xx
		}
	}
	return out
}

// meanOver averages a quantity block by block over the frames that show it,
// each frame's values divided by its scale.
func meanOver(all []content, scale []float64, pick func(content) []float32) []float64 {
	var sum, n []float64
	for f, c := range all {
		if c.energy == nil || scale != nil && scale[f] <= 0 {
			continue
		}
		v := pick(c)
		if sum == nil {
			sum, n = make([]float64, len(v)), make([]float64, len(v))
		}
		k := 1.0
		if scale != nil {
			k = 1 / scale[f]
		}
		for b := range v {
			if e := c.energy[b]; e == e {
				sum[b] += float64(float64(v[b]) * k)
				n[b]++
			}
		}
	}
	for b := range sum {
		if n[b] > 0 {
			sum[b] /= n[b]
		} else {
			sum[b] = math.NaN()
		}
	}
	return sum
}

// grades compares each frame's energy with what frames of this clip show of the
// same ground on average, brightness taken out. Drift, exposure, cloud and noise
// so leave the ranking alone. A grade is a ratio of amplitudes: 1 is the clip's mean.
func grades(all []content, gain []float64, nx, ny, side, w, h int) ([]float64, tableCells) {
	whole := make([]float64, len(all)) // ratio of energies
	scale := make([]float64, len(all))
	for f, g := range gain {
		if g > 0 {
			g = max(g, gainLeast)
		}
		scale[f] = g * g
		whole[f] = 1
	}
	var mean []float64
	for range 3 {
		both := make([]float64, len(all))
		for f := range both {
			both[f] = float64(scale[f] * whole[f])
		}
		mean = meanOver(all, both, func(c content) []float32 { return c.energy })
		for f, c := range all {
			if c.energy == nil || scale[f] <= 0 {
				whole[f] = 0
				continue
			}
			var num, den float64
			for b, e := range c.energy {
				if e == e && mean[b] > 0 {
					num += float64(e) / scale[f]
					den += mean[b]
				}
			}
			if den > 0 {
				whole[f] = max(num/den, gradeLeast*gradeLeast)
			}
		}
	}
	out := make([]float64, len(all))
	for f := range out {
		out[f] = math.Sqrt(whole[f])
	}
	return out, cellGrades(all, whole, scale, mean, nx, ny, side, w, h)
}

func cellGrades(all []content, whole, scale, mean []float64, nx, ny, side, w, h int) tableCells {
	size := max(cellSide, (w+cellsMost-1)/cellsMost)
	t := tableCells{NX: max(1, (w+size/2)/size), NY: max(1, (h+size/2)/size), Grade: make([][]float64, len(all))}
	cw, ch := float64(w)/float64(t.NX), float64(h)/float64(t.NY)
	var typical float64
	for _, m := range mean {
		if m > 0 {
			typical += m
		}
	}
	typical /= float64(max(1, len(mean)))
	for f, c := range all {
		row := make([]float64, t.NX*t.NY)
		t.Grade[f] = row
		if c.energy == nil || scale[f] <= 0 {
			continue
		}
		for cy := range t.NY {
			for cx := range t.NX {
				x, y := float64((float64(cx)+0.5)*cw), float64((float64(cy)+0.5)*ch)
				var num, den, shrink float64
				for by := max(0, int((y-ch)/float64(side))); by < min(ny, int((y+ch)/float64(side))+1); by++ {
					wy := 1 - math.Abs(float64((float64(by)+0.5)*float64(side))-y)/ch
					for bx := max(0, int((x-cw)/float64(side))); bx < min(nx, int((x+cw)/float64(side))+1); bx++ {
						wx := 1 - math.Abs(float64((float64(bx)+0.5)*float64(side))-x)/cw
						b := by*nx + bx
						e := c.energy[b]
						if wx <= 0 || wy <= 0 || e != e || !(mean[b] > 0) {
							continue
						}
						k := wx * wy
						num += float64(k * float64(e) / scale[f])
						den += float64(k * mean[b])
						shrink += float64(k * (float64(gradeShrink*float64(c.noise[b])/scale[f]) + float64(0.02*typical)))
					}
				}
				r := whole[f]
				if den+shrink > 0 {
					r = (num + float64(shrink*whole[f])) / (den + shrink)
				}
				row[cy*t.NX+cx] = round3(math.Sqrt(max(r, gradeLeast*gradeLeast)))
			}
		}
	}
	return t
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }
