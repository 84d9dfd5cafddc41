package stacks

import (
	"math"

	"plenilune/steps/kernel/cells"
)

// colours says where red and blue lie against green in the frames, in pixels
// right and down, for the air is a weak prism, and how bright they are.
type colours struct {
	Red  [2]float64 `json:"red"`
	Blue [2]float64 `json:"blue"`

	RedLevel  float64 `json:"red_level"` // brightness against green's
	BlueLevel float64 `json:"blue_level"`
}

// levels returns the brightness of each of n channels against what frames are aligned by.
func (c colours) levels(n int) []float32 {
	if n == 3 {
		return []float32{float32(c.RedLevel), 1, float32(c.BlueLevel)}
	}
	return []float32{1}
}

// shifts returns the displacement of each of n channels.
func (c colours) shifts(n int) [][2]float32 {
	out := make([][2]float32, n)
	if n == 3 {
		out[0] = [2]float32{float32(c.Red[0]), float32(c.Red[1])}
		out[2] = [2]float32{float32(c.Blue[0]), float32(c.Blue[1])}
	}
	return out
}

const (
	colourMost   = 8.0 // px: more than the air does to a Moon worth recording
	colourRounds = 12
)

// measureColours finds the shifts between the channels of a stack.
func measureColours(img [][]float32, cv canvas) colours {
	t := newTarget(img[1], cv)
	v := newViewer(cv.W, cv.H)
	find := func(ch []float32) [2]float64 {
		pix := append([]float32(nil), ch...)
		fillUnknown(pix, cv.W, cv.H)
		s := v.see(pix)
		x, y := settleShift(t.broad, s.broad, canvas{W: v.hw, H: v.hh}, 0, 0)
		x, y = settleShift(t.fine, s.fine, cv, 2*x, 2*y)
		if !(math.Abs(x) <= colourMost && math.Abs(y) <= colourMost) {
			return [2]float64{}
		}
		return [2]float64{math.Round(x*1e4) / 1e4, math.Round(y*1e4) / 1e4}
	}
	return colours{find(img[0]), find(img[2]), levelOf(img[0], img[1]), levelOf(img[2], img[1])}
}

// levelOf is by what factor one channel is brighter than another, by least squares; 1 where nothing tells.
func levelOf(ch, green []float32) float64 {
	var cg, gg float64
	for i, g := range green {
		if c := ch[i]; g == g && c == c {
			cg += float64(float64(c) * float64(g))
			gg += float64(float64(g) * float64(g))
		}
	}
	if !(cg > 0) || !(gg > 0) {
		return 1
	}
	return cg / gg
}

// evenSlope is the mean squared slope, beyond which a pixel's say hardly grows: the
// limb alone, where colours differ most, must not decide.
func evenSlope(ref *cells.Picture) float64 {
	var s, n float64
	for i, k := range ref.Known {
		if k {
			x, y := float64(ref.GX[i]), float64(ref.GY[i])
			s += float64(x*x) + float64(y*y)
			n++
		}
	}
	return s/max(n, 1) + 1e-12
}

// settleShift improves one displacement of a whole picture by Gauss–Newton steps on
// the squared difference, brightness fitted along.
func settleShift(ref *cells.Picture, pix []float32, cv canvas, dx, dy float64) (float64, float64) {
	even := evenSlope(ref)
	for range colourRounds {
		var xx, xy, yy, bx, by, tt, ft, px, py float64
		for y := 4; y < cv.H-4; y++ {
			for x := 4; x < cv.W-4; x++ {
				i := y*cv.W + x
				sx, sy := float32(x)+float32(dx), float32(y)+float32(dy)
				if !ref.Known[i] || !(sx >= 2 && sy >= 2 && sx < float32(cv.W-3) && sy < float32(cv.H-3)) {
					continue
				}
				f, p := float64(cells.At(pix, cv.W, sx, sy)), float64(ref.Pix[i])
				gx, gy := float64(ref.GX[i]), float64(ref.GY[i])
				w := 1 / (even + float64(gx*gx) + float64(gy*gy))
				wx, wy := float64(w*gx), float64(w*gy)
				xx += float64(wx * gx)
				xy += float64(wx * gy)
				yy += float64(wy * gy)
				bx += float64(wx * f)
				by += float64(wy * f)
				px += float64(wx * p)
				py += float64(wy * p)
				tt += float64(p * p)
				ft += float64(f * p)
			}
		}
		gain := ft / tt
		det := float64(xx*yy) - float64(xy*xy)
		if !(det > 0) || !(gain > 0.05) {
			return 0, 0
		}
		ex, ey := px-bx/gain, py-by/gain
		ux := (float64(yy*ex) - float64(xy*ey)) / det
		uy := (float64(xx*ey) - float64(xy*ex)) / det
		dx += max(-1, min(1, ux))
		dy += max(-1, min(1, uy))
		if math.Abs(ux)+math.Abs(uy) < 1e-3 {
			break
		}
	}
	return dx, dy
}
