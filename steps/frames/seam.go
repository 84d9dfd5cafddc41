package frames

import (
	"math"
	"slices"

	"plenilune/steps/kernel/lanes"
	"plenilune/steps/kernel/robust"
)

// A frame that lost samples on its way, or was put together of two, has a seam: a
// row from which on it shows something else, or the same shifted sideways. Optics
// let no picture change so fast from row to row, and noise is alike in all rows; but
// a limb or a shadow that lies along the rows comes close to it. So a seam counts
// only if the frames recorded just before and after show none at the same place.
const (
	// tornRatio is how much larger than a few rows further on the step between two
	// rows must be to be a seam. No source: set between simulated tears and whole frames.
	tornRatio = 1.6
	// slipRatio is the same for one that a sideways shift mends, which no picture does.
	slipRatio = 1.4
	// slipMends is by how much a shift must bring the rows on both sides together.
	slipMends = 1.7
	// slipRest is how far apart, against rows nearby, they may still be then.
	slipRest = 1.2
	// levelRatio is how much more a step must be that is one of whole rows' brightness:
	// cameras give rows offsets of their own.
	levelRatio = 2.5

	// edgeRatio is the least that an edge in the picture shows; chance shows less.
	edgeRatio = 1.25

	seamRows   = 16 // px: in a frame less high nothing is told
	seamsMost  = 3  // a frame's strongest seams are looked at
	seamSlack  = 3  // px that air and track move a seam between frames
	seamBeside = 4  // frames looked at on either side in time
)

// seams are what a frame shows of rows that do not belong together.
type seams struct {
	ratio []float32 // a row: see stepRatios
	most  []seam    // strongest first
}

type seam struct {
	row   int
	ratio float64 // by how much the step at the row exceeds those nearby
	need  float64 // by how much chance alone may raise a ratio here
	slip  int     // px by which what lies below is shifted to the right, if that mends it
	mends float64 // by how much it does
	rest  float64 // what is then left, against rows nearby
}

// findSeams looks for seams in a frame's luma, that of a mosaic being smoothed.
func findSeams(pix []float32, w, h int, mosaicked bool) seams {
	s := seams{ratio: stepRatios(pix, w, h)}
	taken := make([]bool, len(s.ratio))
	for range seamsMost {
		at := -1
		for y, r := range s.ratio {
			if !taken[y] && r > slipRatio && (at < 0 || r > s.ratio[at]) {
				at = y
			}
		}
		if at < 0 {
			break
		}
		for y := max(0, at-seamSlack); y <= min(len(taken)-1, at+seamSlack); y++ {
			taken[y] = true
		}
		need := 1 + 3/math.Sqrt(max(1, min(valuesIn(pix, w, at-2), valuesIn(pix, w, at+3))))
		raw, level := float64(s.ratio[at]), ratioAt(func(y int) float64 { return levelApart(pix, w, y) }, at)
		r := max(min(raw, level), raw/levelRatio)
		if r <= float64(slipRatio*need) {
			continue // whatever others show
		}
		m := mendSeam(pix, w, at, mosaicked)
		m.ratio, m.need = r, need
		s.most = append(s.most, m)
	}
	return s
}

// stepRatios returns by how much the step between rows y and y+2, and that between
// y+1 and y+3, exceed the steps nearby. Two apart, so that a colour mosaic compares
// like with like; a seam between rows y+1 and y+2 shows in both.
func stepRatios(pix []float32, w, h int) []float32 {
	if h < seamRows {
		return nil
	}
	step := make([]float64, h)
	for y := 0; y+2 < h; y++ {
		step[y] = lanes.Apart(pix[y*w:][:w], pix[(y+2)*w:][:w])
	}
	out := make([]float32, h)
	for y := 4; y+7 < h; y++ {
		out[y] = float32(ratioAt(func(y int) float64 { return step[y] }, y))
	}
	return out
}

// ratioAt is the lesser of the steps at y and y+1 over the largest nearby.
func ratioAt(step func(y int) float64, y int) float64 {
	if near := max(step(y-3), step(y-2), step(y+3), step(y+4)); near > 0 {
		return min(step(y), step(y+1)) / near
	}
	return 0
}

// levelApart is the step between rows y and y+2 without the mean difference of the
// two.
func levelApart(pix []float32, w, y int) (sum float64) {
	a, b := pix[y*w:][:w], pix[(y+2)*w:][:w]
	mean := 0.0
	for x, v := range a {
		mean += float64(v - b[x])
	}
	mean /= float64(w)
	for x, v := range a {
		sum += math.Abs(float64(v-b[x]) - mean)
	}
	return sum
}

// mendSeam finds the sideways shift that brings the rows below a seam and those
// above together best. Each shift is judged by the pixels that both then have,
// against the same pixels without it, so that bare sky mends nothing. Smoothing mixes
// the two rows at the seam: of a mosaic those next to them are compared.
func mendSeam(pix []float32, w, y int, mosaicked bool) seam {
	out := seam{row: y}
	across, above, below := [][2]int{{0, 2}, {1, 3}}, [][2]int{{-3, -1}, {-2, 0}}, [][2]int{{3, 5}, {4, 6}}
	if mosaicked {
		across, above, below = [][2]int{{0, 3}}, [][2]int{{-3, 0}}, [][2]int{{3, 6}}
	}
	apart := func(rows [][2]int, x0, x1, s int) (sum float64) {
		for _, r := range rows {
			sum += lanes.Apart(pix[(y+r[0])*w:][x0:x1], pix[(y+r[1])*w:][x0+s:x1+s])
		}
		return sum
	}
	whole := apart(across, 0, w, 0)
	for s := -w / 2; s <= w/2; s++ {
		x0, x1 := max(0, -s), min(w, w-s)
		if s >= -1 && s <= 1 {
			continue
		}
		before, after := apart(across, x0, x1, 0), apart(across, x0, x1, s)
		if 2*before < whole || after <= 0 {
			continue // what lies elsewhere stays
		}
		if m := before / after; m > out.mends {
			out.slip, out.mends, out.rest = s, m, math.Inf(1)
			if near := max(apart(above, x0, x1, 0), apart(below, x0, x1, 0)); near > 0 {
				out.rest = after / near
			}
		}
	}
	return out
}

// valuesIn returns how many values of one size the step between rows y and y+2 is
// as good as: few in a narrow frame, or where samples are coarser than the noise, and
// then the sum of the step scatters by its root.
func valuesIn(pix []float32, w, y int) float64 {
	var sum, squares float64
	below := pix[(y+2)*w:][:w]
	for x, v := range pix[y*w:][:w] {
		d := math.Abs(float64(v - below[x]))
		sum += d
		squares += float64(d * d)
	}
	if squares == 0 {
		return 0
	}
	return sum * sum / squares
}

// judgeSeams tells whether frame i is "torn" or has "shifted rows"; "" if neither. A
// frame with fewer than two others beside it in time is not judged.
func judgeSeams(all []looks, why []string, i, slack int) string {
	for _, s := range all[i].seams.most {
		usual, peak, beside := usualRatio(all, why, i, s.row, slack)
		if beside < 2 {
			continue
		}
		// Where others show an edge, how steep it looks varies: with the part of a
		// pixel at which it lies, and with the air.
		u := max(1, usual/edgeRatio)
		r := s.ratio / (s.need * max(u*u*u, peak/edgeRatio))
		mended := s.mends > slipMends && s.rest < slipRest
		switch {
		case mended && r > slipRatio:
			return "shifted rows"
		case r > tornRatio:
			return "torn"
		}
	}
	return ""
}

// usualRatio is what frames recorded just before and after show where frame i has
// a seam, the median of the largest ratio there of each, and what they show anywhere,
// since a broken row of the sensor stays where it is; and of how many frames. Of
// those the next may be broken at the same row.
func usualRatio(all []looks, why []string, i, row, slack int) (there, anywhere float64, frames int) {
	var near, peaks []float64
	for d := 1; d < len(all) && len(near) < 2*seamBeside; d++ {
		for _, j := range []int{i - d, i + d} {
			if j < 0 || j >= len(all) || why[j] != "" {
				continue
			}
			ratio := all[j].seams.ratio
			at := row + int(math.Round(all[j].dy-all[i].dy))
			lo, hi := max(0, at-slack), min(len(ratio), at+slack+1)
			if lo >= hi {
				continue
			}
			near = append(near, float64(slices.Max(ratio[lo:hi])))
			peaks = append(peaks, float64(slices.Max(ratio)))
		}
	}
	return robust.Median(near), robust.Median(peaks), len(near)
}
