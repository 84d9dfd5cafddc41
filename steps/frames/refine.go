package frames

import (
	"math"

	"plenilune/steps/kernel/cells"
	"plenilune/steps/kernel/robust"
)

const (
	trackBlock = 16  // px of the tracking scale: side of the blocks that vote
	trackEdge  = 6   // px that filters and interpolation spoil at a border
	trackPrior = 1.0 // px: how far the coarse displacement may be off, one sigma
	trackSteps = 3
	roughRest  = 0.1  // px: the broad band need not be followed further
	nearRest   = 0.05 // px: finer detail takes over
	fitNothing = 0.06 // correlation below which finer detail has nothing to add
	evenFrom   = 0.02
)

// tracker finds displacements against a template to a small part of a pixel, by
// Gauss–Newton steps on the squared difference (Lucas & Kanade 1981; Baker &
// Matthews 2004 §2), gathered block by block so that a cloud's edge or a bird is
// outvoted. With blocks moving each by its own amount, the answer is their mean,
// weighted by their texture.
type tracker struct {
	pic   *cells.Picture // template, 0 where nothing is known
	count float64        // known pixels
}

// newTracker takes a template and the share of frames (0…1) behind each pixel.
func newTracker(pix, cover []float32, w, h int) *tracker {
	t := &tracker{}
	known := make([]bool, w*h)
	for y := trackEdge; y < h-trackEdge; y++ {
		for x := trackEdge; x < w-trackEdge; x++ {
			i := y*w + x
			known[i] = cover[i] > 0.5 && cover[i+1] > 0.5 && cover[i-1] > 0.5 && cover[i+w] > 0.5 && cover[i-w] > 0.5
			if known[i] {
				t.count++
			}
		}
	}
	t.pic = cells.NewPicture(pix, known, w, h)
	return t
}

// miss is the frame less gain times the template, by the template's slopes.
func miss(v *cells.Sums, gain float64) (x, y float64) {
	return v.FX - float64(gain*v.PX), v.FY - float64(gain*v.PY)
}

// track starts from a displacement and returns a better one, the correlation
// coefficient over what both show, and the share of the template that it shows. It
// ends with the first step shorter than rest, in pixels.
func (t *tracker) track(mov []float32, dx, dy, rest float64) (float64, float64, float64, float64) {
	x0, y0, gain := dx, dy, 1.0
	var fit, share float64
	for step := range trackSteps {
		blocks := t.vote(mov, float32(dx), float32(dy))
		all := t.combine(blocks, nil)
		if all.N == 0 || all.PP <= 0 || all.FF <= 0 {
			return dx, dy, 0, 0
		}
		share = all.N / max(t.count, 1)
		fit = all.FP / math.Sqrt(all.FF*all.PP)
		if g := all.FP / all.PP; step == 0 && g > 0.05 {
			gain = g
		}
		ux, uy := t.solve(all, gain, dx-x0, dy-y0)
		even := evenly(blocks)
		for range 2 { // blocks that want to go elsewhere lose their vote
			all = t.combine(blocks, func(v *cells.Sums) float64 {
				return voteWeight(v, gain, ux, uy) / (1 + (v.XX+v.YY)/even)
			})
			ux, uy = t.solve(all, gain, dx-x0, dy-y0)
		}
		dx, dy = dx+clampTo(ux, 1.5), dy+clampTo(uy, 1.5)
		if math.Abs(ux)+math.Abs(uy) < rest {
			break
		}
	}
	return dx, dy, fit, share
}

func clampTo(v, lim float64) float64 { return max(-lim, min(lim, v)) }

// vote gathers each block's equations.
func (t *tracker) vote(mov []float32, dx, dy float32) []cells.Sums {
	const side = trackBlock / cells.Side
	nx := (t.pic.NX + side - 1) / side
	out := make([]cells.Sums, nx*((t.pic.NY+side-1)/side))
	for cy := range t.pic.NY {
		for cx := range t.pic.NX {
			s := t.pic.Compare(cx, cy, mov, t.pic.W, t.pic.H, dx, dy)
			out[cy/side*nx+cx/side].Add(&s)
		}
	}
	return out
}

func (t *tracker) combine(blocks []cells.Sums, weight func(*cells.Sums) float64) *cells.Sums {
	all := &cells.Sums{}
	for i := range blocks {
		k := 1.0
		if weight != nil {
			k = weight(&blocks[i])
		}
		all.AddTimes(&blocks[i], k)
	}
	return all
}

// solve returns the step that the equations ask for. A prior of trackPrior about
// the coarse displacement holds what they leave open, such as along a limb.
func (t *tracker) solve(v *cells.Sums, gain, offX, offY float64) (float64, float64) {
	// moved(x) = F(x+d), so a content that lies further right than d makes moved − gT ≈ −gT′·u.
	res := max((v.FF-v.FP*v.FP/max(v.PP, 1e-30))/max(v.N, 1), 1e-12)
	prior := res / (trackPrior * trackPrior)
	g2 := float64(gain * gain)
	mx, my := miss(v, gain)
	xx, xy, yy := float64(v.XX*g2)+prior, v.XY*g2, float64(v.YY*g2)+prior
	bx := float64(-mx*gain) - float64(prior*offX)
	by := float64(-my*gain) - float64(prior*offY)
	det := float64(xx*yy) - float64(xy*xy)
	return (float64(yy*bx) - float64(xy*by)) / det, (float64(xx*by) - float64(xy*bx)) / det
}

// evenly returns the texture beyond which a block's vote hardly grows: the
// median of those that have any. Without it the limb alone would decide, and the
// rest of the picture, which the air moves otherwise, would follow it.
func evenly(blocks []cells.Sums) float64 {
	var most float64
	for _, v := range blocks {
		most = max(most, v.XX+v.YY)
	}
	var tr []float64
	for _, v := range blocks {
		if q := v.XX + v.YY; q > evenFrom*most {
			tr = append(tr, q)
		}
	}
	if len(tr) == 0 {
		return 1
	}
	return robust.Median(tr)
}

// voteWeight is Huber's weight of how far a block's own wish lies from the step
// u along its gradients; 1 px apart is common where the air bends the picture.
func voteWeight(v *cells.Sums, gain, ux, uy float64) float64 {
	tr := v.XX + v.YY
	if tr <= 0 {
		return 0
	}
	mx, my := miss(v, gain)
	ex := -mx/gain - float64(v.XX*ux) - float64(v.XY*uy)
	ey := -my/gain - float64(v.XY*ux) - float64(v.YY*uy)
	return robust.Huber(math.Sqrt(float64(ex*ex)+float64(ey*ey))/tr, 1)
}
