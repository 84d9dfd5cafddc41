package publish

import (
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/decorrelation"
	"plenilune/steps/kernel/filter"
	"plenilune/steps/kernel/fourier"
	"plenilune/steps/kernel/plane"
	"plenilune/steps/kernel/warp"
)

const (
	followReach = 64  // px, of the first picture, that a crop may lie off in one joined anew
	followMost  = 512 // px of a crop's side by which it is found again
	scaleMost   = 2.0 // between two pictures of a strip: what a stack's scale makes
)

// shown is a crop of a linear picture.
type shown struct {
	lum      []float32
	corner   image.Point // where in the picture
	side     int         // px
	of       image.Point // the picture's size
	lay      lay
	found    bool // it shows the ground that the first does
	noisePct float64
	smooth   bool // see noisePct
}

// cropLike reads the luminance of a crop. Of a picture joined anew, or at another scale, it is what shows the ground of the first
// one's crop: carried over by the limb, and then found.
func cropLike(s pipeline.Source, l lay, c cropTable, first *shown) (out shown, err error) {
	p, err := s.Plane()
	if err != nil {
		return out, err
	}
	defer p.Close()
	p.Keep(1)
	w, h, _ := p.Size()
	if out.noisePct, out.smooth, err = noisePct(p); err != nil {
		return out, err
	}
	out.corner, out.side, out.of, out.lay, out.found = image.Pt(c.X, c.Y), c.Size, image.Pt(w, h), l, true
	if first != nil && !out.sameGround(*first) {
		if err := out.carry(p, *first); err != nil {
			return out, err
		}
	}
	pix, err := cropOf(p, image.Rect(0, 0, out.side, out.side).Add(out.corner))
	if err == nil {
		out.lum = luminance(pix)
	}
	return out, err
}

// sameGround tells whether two pictures lie alike, pixel on pixel.
func (s shown) sameGround(o shown) bool {
	return s.of == o.of && s.lay.Disk == o.lay.Disk && s.lay.ToSource == o.lay.ToSource
}

// ratio is how many of its pixels go on one of the first picture's: by the limb, or by the scale on the sky, or, where neither is
// known, by the pictures' sizes if both sides say the same.
func (s shown) ratio(first shown) float64 {
	r := 1.0
	across, down := float64(s.of.X)/float64(first.of.X), float64(s.of.Y)/float64(first.of.Y)
	switch {
	case s.lay.Disk.Found && first.lay.Disk.Found:
		r = s.lay.Disk.Radius / first.lay.Disk.Radius
	case s.lay.Scale > 0 && first.lay.Scale > 0:
		r = first.lay.Scale / s.lay.Scale
	case math.Abs(across-down) < 0.01:
		r = across
	}
	if r = min(max(r, 1/scaleMost), scaleMost); math.Abs(r-1)*float64(first.side) < 1 {
		return 1 // the crop would be no larger
	}
	return r
}

// carry moves the crop onto the ground of the first.
func (s *shown) carry(p *pipeline.PlaneReader, first shown) error {
	r := s.ratio(first)
	half := float64(float64(first.side-1) / 2)
	x, y := float64(first.corner.X)+half, float64(first.corner.Y)+half
	if a, b := first.lay.Disk, s.lay.Disk; a.Found && b.Found {
		ax, ay := first.lay.ToSource.Apply(a.X, a.Y)
		bx, by := s.lay.ToSource.Apply(b.X, b.Y)
		x, y = bx+float64(r*(x-ax)), by+float64(r*(y-ay))
	} else {
		x, y = float64(r*(x+0.5))-0.5, float64(r*(y+0.5))-0.5
	}
	n := min(first.side, followMost)
	wide := n + 2*followReach
	in, err := atScale(p, x, y, r, wide)
	if err != nil {
		return err
	}
	at, ok := follow(middleOf(first.lum, first.side, n), in, n, wide, wide)
	if s.found = ok; ok {
		x += float64(r * float64(at.X-followReach))
		y += float64(r * float64(at.Y-followReach))
	}
	s.side = int(math.Round(r * float64(first.side)))
	half = float64(float64(s.side-1) / 2)
	s.corner = image.Pt(int(math.Round(x-half)), int(math.Round(y-half)))
	return nil
}

// atScale reads the luminance about a place, drawn so that one pixel of the n a side shows r of the picture's.
func atScale(p *pipeline.PlaneReader, x, y, r float64, n int) ([]float32, error) {
	half := float64(float64(n-1) / 2)
	reach := int(math.Ceil(r*half)) + 4
	from := image.Rect(-reach, -reach, reach+1, reach+1).Add(image.Pt(int(math.Round(x)), int(math.Round(y))))
	pix, err := cropOf(p, from)
	if err != nil {
		return nil, err
	}
	lum := luminance(pix)
	if r > 1 {
		soft := make([]float32, len(lum))
		filter.GaussianFilled(soft, lum, from.Dx(), from.Dy(), float64(r/2), 0.5)
		lum = soft
	}
	if r == 1 { // whole pixels, as the picture has them
		x, y = math.Round(x-half)+half, math.Round(y-half)+half
	}
	dst := plane.New(n, n, 1)
	to := warp.Affine{r, 0, x - float64(r*half) - float64(from.Min.X), 0, r, y - float64(r*half) - float64(from.Min.Y)}
	warp.Resample(dst, plane.Of(from.Dx(), from.Dy(), lum), to, warp.Linear)
	return dst.Pix[0], nil
}

// middleOf returns the middle n by n pixels of a square of so many a side.
func middleOf(lum []float32, side, n int) []float32 {
	out := make([]float32, 0, n*n)
	at := (side - n) / 2
	for y := at; y < at+n; y++ {
		out = append(out, lum[y*side+at:y*side+at+n]...)
	}
	return out
}

// follow returns where in a picture, by whole pixels, a square crop of another lies;
// ok is false where it is not found.
func follow(crop, in []float32, size, w, h int) (at image.Point, ok bool) {
	rough := func(v []float32, w, h int) []float32 {
		out := make([]float32, len(v))
		filter.GaussianFilled(out, v, w, h, 2, 0.5)
		return out
	}
	peaks := fourier.MaskedNCC(rough(in, w, h), w, h, rough(crop, size, size), size, size).Peaks(1, 0.5, 4)
	if len(peaks) == 0 || peaks[0].NCC < 0.5 {
		return at, false
	}
	return image.Pt(int(math.Round(-peaks[0].DX)), int(math.Round(-peaks[0].DY))), true
}

// measure tells what a crop is.
func (s shown) measure() tileFigures {
	f := tileFigures{smooth: s.smooth, noisePct: s.noisePct, lost: !s.found, arcsecPerPx: s.lay.Scale}
	if limit := decorrelation.Limit(filled(s.lum), s.side, s.side); limit > 0 && s.found {
		f.detailPx = 0.5 / limit
	}
	return f
}
