package frames

import (
	"math"

	"plenilune/steps/kernel/robust"
)

const (
	trackBlock = 16  // px of the tracking scale: side of the blocks that vote
	trackEdge  = 6   // px that filters and interpolation spoil at a border
	trackPrior = 1.0 // px: how far the coarse displacement may be off, one sigma
	trackSteps = 3
	evenFrom   = 0.02
)

// tracker finds displacements against a template to a small part of a pixel, by
// Gauss–Newton steps on the squared difference (Lucas & Kanade 1981; Baker &
// Matthews 2004 §2), gathered block by block so that a cloud's edge or a bird is
// outvoted. With blocks moving each by its own amount, the answer is their mean,
// weighted by their texture.
type tracker struct {
	w, h   int
	pix    []float32 // template, 0 where nothing is known
	gx, gy []float32
	valid  []bool
	count  float64 // valid pixels
}

// newTracker takes a template and the share of frames (0…1) behind each pixel.
func newTracker(pix, cover []float32, w, h int) *tracker {
	t := &tracker{w: w, h: h, pix: pix, gx: make([]float32, w*h), gy: make([]float32, w*h), valid: make([]bool, w*h)}
	for y := trackEdge; y < h-trackEdge; y++ {
		for x := trackEdge; x < w-trackEdge; x++ {
			i := y*w + x
			t.gx[i] = 0.5 * (pix[i+1] - pix[i-1])
			t.gy[i] = 0.5 * (pix[i+w] - pix[i-w])
			t.valid[i] = cover[i] > 0.5 && cover[i+1] > 0.5 && cover[i-1] > 0.5 && cover[i+w] > 0.5 && cover[i-w] > 0.5
			if t.valid[i] {
				t.count++
			}
		}
	}
	return t
}

// votes are the normal equations of one block.
type votes struct {
	xx, xy, yy     float64 // slopes by slopes
	fx, fy, tx, ty float64 // frame and template by slopes
	ff, tt, ft, n  float64 // frame and template by themselves, pixels
}

// miss is the frame less gain times the template, by the template's slopes.
func (v votes) miss(gain float64) (x, y float64) {
	return v.fx - float64(gain*v.tx), v.fy - float64(gain*v.ty)
}

func (v *votes) add(o votes, k float64) {
	v.xx += float64(k * o.xx)
	v.xy += float64(k * o.xy)
	v.yy += float64(k * o.yy)
	v.fx += float64(k * o.fx)
	v.fy += float64(k * o.fy)
	v.tx += float64(k * o.tx)
	v.ty += float64(k * o.ty)
	v.ff += float64(k * o.ff)
	v.tt += float64(k * o.tt)
	v.ft += float64(k * o.ft)
	v.n += float64(k * o.n)
}

// track starts from a displacement and returns a better one, the correlation
// coefficient over what both show, and the share of the template that it shows.
// moved is a buffer of the template's size.
func (t *tracker) track(mov, moved []float32, dx, dy float64) (float64, float64, float64, float64) {
	x0, y0, gain := dx, dy, 1.0
	var fit, share float64
	for step := range trackSteps {
		translate(moved, mov, t.w, t.h, dx, dy)
		blocks := t.vote(moved)
		all := t.combine(blocks, nil)
		if all.n == 0 || all.tt <= 0 || all.ff <= 0 {
			return dx, dy, 0, 0
		}
		share = all.n / max(t.count, 1)
		fit = all.ft / math.Sqrt(all.ff*all.tt)
		if g := all.ft / all.tt; step == 0 && g > 0.05 {
			gain = g
		}
		ux, uy := t.solve(all, gain, dx-x0, dy-y0)
		even := evenly(blocks)
		for range 2 { // blocks that want to go elsewhere lose their vote
			all = t.combine(blocks, func(v votes) float64 {
				return voteWeight(v, gain, ux, uy) / (1 + (v.xx+v.yy)/even)
			})
			ux, uy = t.solve(all, gain, dx-x0, dy-y0)
		}
		dx, dy = dx+clampTo(ux, 1.5), dy+clampTo(uy, 1.5)
		if math.Abs(ux)+math.Abs(uy) < 0.01 {
			break
		}
	}
	return dx, dy, fit, share
}

func clampTo(v, lim float64) float64 { return max(-lim, min(lim, v)) }

// vote gathers each block's equations. moved is NaN where the frame shows nothing.
func (t *tracker) vote(moved []float32) []votes {
	bw := (t.w + trackBlock - 1) / trackBlock
	bh := (t.h + trackBlock - 1) / trackBlock
	out := make([]votes, bw*bh)
	for y := range t.h {
		row := out[y/trackBlock*bw:][:bw]
		for b := range row {
			var xx, xy, yy, fx, fy, tx, ty, ff, tt, ft, n float32
			for i := y*t.w + b*trackBlock; i < y*t.w+min(t.w, (b+1)*trackBlock); i++ {
				f := moved[i]
				if !t.valid[i] || f != f {
					continue
				}
				p, gx, gy := t.pix[i], t.gx[i], t.gy[i]
				xx += float32(gx * gx)
				xy += float32(gx * gy)
				yy += float32(gy * gy)
				fx += float32(gx * f)
				fy += float32(gy * f)
				tx += float32(gx * p)
				ty += float32(gy * p)
				ff += float32(f * f)
				tt += float32(p * p)
				ft += float32(f * p)
				n++
			}
			v := &row[b]
			for k, q := range []*float64{&v.xx, &v.xy, &v.yy, &v.fx, &v.fy, &v.tx, &v.ty, &v.ff, &v.tt, &v.ft, &v.n} {
				*q += float64([]float32{xx, xy, yy, fx, fy, tx, ty, ff, tt, ft, n}[k])
			}
		}
	}
	return out
}

func (t *tracker) combine(blocks []votes, weight func(votes) float64) votes {
	var all votes
	for _, v := range blocks {
		k := 1.0
		if weight != nil {
			k = weight(v)
		}
		all.add(v, k)
	}
	return all
}

// solve returns the step that the equations ask for. A prior of trackPrior about
// the coarse displacement holds what they leave open, such as along a limb.
func (t *tracker) solve(v votes, gain, offX, offY float64) (float64, float64) {
	// moved(x) = F(x+d), so a content that lies further right than d makes moved − gT ≈ −gT′·u.
	res := max((v.ff-v.ft*v.ft/max(v.tt, 1e-30))/max(v.n, 1), 1e-12)
	prior := res / (trackPrior * trackPrior)
	g2 := float64(gain * gain)
	mx, my := v.miss(gain)
	xx, xy, yy := float64(v.xx*g2)+prior, v.xy*g2, float64(v.yy*g2)+prior
	bx := float64(-mx*gain) - float64(prior*offX)
	by := float64(-my*gain) - float64(prior*offY)
	det := float64(xx*yy) - float64(xy*xy)
	return (float64(yy*bx) - float64(xy*by)) / det, (float64(xx*by) - float64(xy*bx)) / det
}

// evenly returns the texture beyond which a block's vote hardly grows: the
// median of those that have any. Without it the limb alone would decide, and the
// rest of the picture, which the air moves otherwise, would follow it.
func evenly(blocks []votes) float64 {
	var most float64
	for _, v := range blocks {
		most = max(most, v.xx+v.yy)
	}
	var tr []float64
	for _, v := range blocks {
		if q := v.xx + v.yy; q > evenFrom*most {
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
func voteWeight(v votes, gain, ux, uy float64) float64 {
	tr := v.xx + v.yy
	if tr <= 0 {
		return 0
	}
	mx, my := v.miss(gain)
	ex := -mx/gain - float64(v.xx*ux) - float64(v.xy*uy)
	ey := -my/gain - float64(v.xy*ux) - float64(v.yy*uy)
	return robust.Huber(math.Sqrt(float64(ex*ex)+float64(ey*ey))/tr, 1)
}
