package publish

import (
	"image"
	"math"
	"slices"

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
	foundFrom   = 0.6 // how alike, after smoothing, a crop is where it is taken as found: noise apart, it is the same ground
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

// guess is where the middle of the first picture's crop may lie, and how many pixels go on one of the first's.
type guess struct{ x, y, ratio float64 }

// guesses are made by the limb, by the scale on the sky, and by the pictures' sizes: none is always there, and a limb of which a
// short arc is in view misleads.
func (s shown) guesses(first shown) []guess {
	half := float64(float64(first.side-1) / 2)
	x, y := float64(first.corner.X)+half, float64(first.corner.Y)+half
	var out []guess
	add := func(r float64, at func(r float64) (float64, float64)) {
		if r = min(max(r, 1/scaleMost), scaleMost); math.Abs(r-1)*float64(first.side) < 1 {
			r = 1 // the crop would be no larger
		}
		g := guess{ratio: r}
		g.x, g.y = at(r)
		if !slices.Contains(out, g) {
			out = append(out, g)
		}
	}
	byCorner := func(r float64) (float64, float64) { return float64(r*(x+0.5)) - 0.5, float64(r*(y+0.5)) - 0.5 }
	if a, b := first.lay.Disk, s.lay.Disk; a.Found && b.Found {
		ax, ay := first.lay.ToSource.Apply(a.X, a.Y)
		bx, by := s.lay.ToSource.Apply(b.X, b.Y)
		add(b.Radius/a.Radius, func(r float64) (float64, float64) { return bx + float64(r*(x-ax)), by + float64(r*(y-ay)) })
	}
	if s.lay.Scale > 0 && first.lay.Scale > 0 {
		add(first.lay.Scale/s.lay.Scale, byCorner)
	}
	across, down := float64(s.of.X)/float64(first.of.X), float64(s.of.Y)/float64(first.of.Y)
	if math.Abs(across-down) < 0.01 || len(out) == 0 {
		add((across+down)/2, byCorner)
	}
	return out
}

// carry moves the crop onto the ground of the first: of the guesses, to where it is found most alike.
func (s *shown) carry(p *pipeline.PlaneReader, first shown) error {
	n := min(first.side, followMost)
	wide := n + 2*followReach
	crop := middleOf(first.lum, first.side, n)
	all := s.guesses(first)
	best, top := all[0], foundFrom
	s.found = false
	for _, g := range all {
		in, err := atScale(p, g.x, g.y, g.ratio, wide)
		if err != nil {
			return err
		}
		if at, alike := follow(crop, in, n, wide, wide); alike >= top {
			g.x += float64(g.ratio * float64(at.X-followReach))
			g.y += float64(g.ratio * float64(at.Y-followReach))
			best, top, s.found = g, alike, true
		}
	}
	s.side = int(math.Round(best.ratio * float64(first.side)))
	half := float64(float64(s.side-1) / 2)
	s.corner = image.Pt(int(math.Round(best.x-half)), int(math.Round(best.y-half)))
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

// follow returns where in a picture, by whole pixels, a square crop of another lies most likely, and how alike both are there,
// as a coefficient of correlation; 0 where nothing is.
func follow(crop, in []float32, size, w, h int) (at image.Point, alike float64) {
	rough := func(v []float32, w, h int) []float32 {
		out := make([]float32, len(v))
		filter.GaussianFilled(out, v, w, h, 2, 0.5)
		return out
	}
	peaks := fourier.MaskedNCC(rough(in, w, h), w, h, rough(crop, size, size), size, size).Peaks(1, 0.5, 4)
	if len(peaks) == 0 {
		return at, 0
	}
	return image.Pt(int(math.Round(-peaks[0].DX)), int(math.Round(-peaks[0].DY))), peaks[0].NCC
}

// measure tells what a crop is.
func (s shown) measure() tileFigures {
	f := tileFigures{smooth: s.smooth, noisePct: s.noisePct, lost: !s.found, arcsecPerPx: s.lay.Scale}
	if limit := decorrelation.Limit(filled(s.lum), s.side, s.side); limit > 0 && s.found {
		f.detailPx = 0.5 / limit
	}
	return f
}
