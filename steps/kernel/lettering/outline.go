package lettering

import (
	"image"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// outlines is a typeface at one size, as font.Face. It cuts curves into lines itself: left to the rasterizer, whose products and
// sums are fused on some processors, a pixel here and there would get other ink.
type outlines struct {
	font  *sfnt.Font
	scale fixed.Int26_6 // px from line to line
	buf   sfnt.Buffer
	rast  vector.Rasterizer
	mask  image.Alpha
	pen   [2]float32
}

func (o *outlines) Close() error { return nil }

func (o *outlines) Metrics() font.Metrics {
	m, err := o.font.Metrics(&o.buf, o.scale, font.HintingNone)
	if err != nil {
		return font.Metrics{} // as a typeface without any has
	}
	return m
}

// Kern is how much nearer to or farther from each other two letters stand than they would alone.
func (o *outlines) Kern(a, b rune) fixed.Int26_6 {
	i, errA := o.font.GlyphIndex(&o.buf, a)
	j, errB := o.font.GlyphIndex(&o.buf, b)
	k, err := o.font.Kern(&o.buf, i, j, o.scale, font.HintingNone)
	if errA != nil || errB != nil || err != nil {
		return 0
	}
	return k
}

func (o *outlines) GlyphAdvance(r rune) (fixed.Int26_6, bool) {
	i, err := o.font.GlyphIndex(&o.buf, r)
	if err != nil {
		return 0, false
	}
	advance, err := o.font.GlyphAdvance(&o.buf, i, o.scale, font.HintingNone)
	return advance, err == nil && i != 0
}

func (o *outlines) GlyphBounds(r rune) (fixed.Rectangle26_6, fixed.Int26_6, bool) {
	i, err := o.font.GlyphIndex(&o.buf, r)
	if err != nil {
		return fixed.Rectangle26_6{}, 0, false
	}
	b, advance, err := o.font.GlyphBounds(&o.buf, i, o.scale, font.HintingNone)
	return b, advance, err == nil && i != 0
}

// Glyph draws a letter at a place: the mask is valid until the next is drawn.
func (o *outlines) Glyph(dot fixed.Point26_6, r rune) (at image.Rectangle, mask image.Image, from image.Point, advance fixed.Int26_6, ok bool) {
	i, err := o.font.GlyphIndex(&o.buf, r)
	if err != nil {
		return at, nil, from, 0, false
	}
	if advance, err = o.font.GlyphAdvance(&o.buf, i, o.scale, font.HintingNone); err != nil {
		return at, nil, from, 0, false
	}
	segments, err := o.font.LoadGlyph(&o.buf, i, o.scale, nil)
	if err != nil {
		return at, nil, from, 0, false
	}
	b := segments.Bounds().Add(dot)
	at = image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil())
	o.rast.Reset(at.Dx(), at.Dy())
	o.rast.DrawOp = draw.Src
	o.trace(segments, dot.Sub(fixed.P(at.Min.X, at.Min.Y)))
	o.mask = *image.NewAlpha(image.Rect(0, 0, at.Dx(), at.Dy()))
	o.rast.Draw(&o.mask, o.mask.Rect, image.Opaque, image.Point{})
	return at, &o.mask, o.mask.Rect.Min, advance, i != 0
}

// trace draws an outline of lines and quadratic curves, which is all that TrueType has.
func (o *outlines) trace(segments sfnt.Segments, by fixed.Point26_6) {
	for _, s := range segments {
		var p [2][2]float32
		for k := range p {
			p[k] = [2]float32{float32(s.Args[k].X+by.X) / 64, float32(s.Args[k].Y+by.Y) / 64}
		}
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			o.rast.MoveTo(p[0][0], p[0][1])
			o.pen = p[0]
		case sfnt.SegmentOpLineTo:
			o.line(p[0])
		case sfnt.SegmentOpQuadTo:
			o.curve(o.pen, p[0], p[1])
		}
	}
}

func (o *outlines) line(to [2]float32) {
	o.rast.LineTo(to[0], to[1])
	o.pen = to
}

// curve draws the quadratic curve from a to c that b pulls at, as so many lines that none strays by more than a fraction of a
// pixel: the fourth root of the second difference's square, as FreeType's developers reckoned it in 2016.
func (o *outlines) curve(a, b, c [2]float32) {
	bend := float32(0)
	for k := range a {
		d := a[k] - float32(2*b[k]) + c[k]
		bend += float32(d * d)
	}
	if bend >= 0.333 {
		n := 1 + int(math.Sqrt(math.Sqrt(3*float64(bend))))
		t := float32(0)
		for range n - 1 {
			t += 1 / float32(n)
			o.line(between(t, between(t, a, b), between(t, b, c)))
		}
	}
	o.line(c)
}

// between is the point that lies the share t of the way from a to b.
func between(t float32, a, b [2]float32) (p [2]float32) {
	for k := range p {
		p[k] = a[k] + float32(t*(b[k]-a[k]))
	}
	return p
}
