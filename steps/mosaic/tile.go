package mosaic

import (
	"image"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// The planes of a joined picture, in the order in which a tile has them.
const (
	imagePlane = iota
	weightPlane
	sourcePlane
	coveragePlane
	noisePlane
)

// planesOf names the planes and their channels.
func planesOf(channels int) []pipeline.PlanePort {
	return []pipeline.PlanePort{
		imagePlane:    {Name: "image", Channels: channels},
		weightPlane:   {Name: "weight", Channels: 1},
		sourcePlane:   {Name: "source", Channels: 1},
		coveragePlane: {Name: "coverage", Channels: 1},
		noisePlane:    {Name: "noise", Channels: channels},
	}
}

// drawTile draws every plane of a rectangle of the joined picture.
func drawTile(sheets []*sheet, r image.Rectangle, dst [][][]float32) error {
	b := newBlend(drawnFor(r), len(dst[imagePlane]))
	shown := touching(sheets, b.r)
	var parts []part
	for _, s := range shown {
		if err := s.open(); err != nil {
			return err
		}
		p := part{sheet: s, in: b.r.Intersect(s.box)}
		p.says = s.says(p.in)
		var img *plane.Image
		img, p.mx, p.my = s.draw(p.in.Inset(-margin))
		b.add(p.in, img, p.says, s.levels, s.sharp, s.noise)
		parts = append(parts, p)
	}
	for c, p := range b.finish() {
		cutOut(dst[imagePlane][c], p, b.r, r)
	}
	drawWeight(dst[weightPlane][0], parts, r)
	drawSource(dst[sourcePlane][0], parts, b, r)
	drawCoverage(dst[coveragePlane][0], parts, r)
	drawNoise(dst[noisePlane], parts, b, r)
	for _, s := range shown {
		s.done()
	}
	return nil
}

// drawnFor is how far around a rectangle panels are looked at.
func drawnFor(r image.Rectangle) image.Rectangle { return r.Inset(-accordReach) }

// part is a panel where it touches a tile.
type part struct {
	*sheet
	in     image.Rectangle
	says   says
	mx, my []float32 // where pixels lie in the panel, margin more all round
}

// lies returns where pixel i of the part lies in the panel.
func (p *part) lies(i int) (x, y float32) {
	k := (i/p.in.Dx()+margin)*(p.in.Dx()+2*margin) + i%p.in.Dx() + margin
	return p.mx[k], p.my[k]
}

// over calls a function for every pixel of r in the part: its index there and in the part.
func (p part) over(r image.Rectangle, f func(at, i int)) {
	in := p.in.Intersect(r)
	for y := in.Min.Y; y < in.Max.Y; y++ {
		at := (y-r.Min.Y)*r.Dx() + in.Min.X - r.Min.X
		i := (y-p.in.Min.Y)*p.in.Dx() + in.Min.X - p.in.Min.X
		for x := range in.Dx() {
			f(at+x, i+x)
		}
	}
}

// touching returns the panels that show something of a rectangle.
func touching(sheets []*sheet, r image.Rectangle) []*sheet {
	var out []*sheet
	for _, s := range sheets {
		if s != nil && r.Overlaps(s.box) {
			out = append(out, s)
		}
	}
	return out
}

// drawWeight gives one over the variance of the fine noise in a rectangle, in units of that of one usual stack where all
// its frames show: of values with variances 1/w, averaged with says s, it is (Σs)²/Σ(s²/w).
func drawWeight(out []float32, parts []part, r image.Rectangle) {
	square := make([]float32, len(out))
	for _, p := range parts {
		p.over(r, func(at, i int) {
			if p.says.wide[i] > 0 {
				v := p.says.fine[0][i]
				out[at] += v
				square[at] += float32(v * v / max(leastSay, p.says.stack[i]*p.steady))
			}
		})
	}
	for i, s := range out {
		if s > 0 {
			out[i] = float32(s*s) / square[i]
		}
	}
}

// drawSource gives the panel that counts most at each pixel of a rectangle, NaN where none shows anything.
func drawSource(out []float32, parts []part, b *blend, r image.Rectangle) {
	for i := range out {
		out[i] = nan32
		if k := b.accord.who[b.index(r, i)]; k > 0 {
			out[i] = float32(parts[k-1].index)
		}
	}
}

// drawCoverage counts the panels that show each pixel of a rectangle.
func drawCoverage(out []float32, parts []part, r image.Rectangle) {
	for _, p := range parts {
		p.over(r, func(at, i int) {
			if p.says.wide[i] > 0 {
				out[at]++
			}
		})
	}
}

// index returns where pixel i of a rectangle inside it lies in the blend.
func (b *blend) index(r image.Rectangle, i int) int {
	return (r.Min.Y-b.r.Min.Y+i/r.Dx())*b.r.Dx() + r.Min.X - b.r.Min.X + i%r.Dx()
}

// cutOut takes a rectangle out of pixels of a larger one.
func cutOut(dst, pix []float32, from, r image.Rectangle) {
	for y := r.Min.Y; y < r.Max.Y; y++ {
		copy(dst[(y-r.Min.Y)*r.Dx():][:r.Dx()], pix[(y-from.Min.Y)*from.Dx()+r.Min.X-from.Min.X:])
	}
}
