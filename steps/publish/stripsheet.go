package publish

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"io"
	"math"
	"strings"

	"plenilune/pipeline"
	"plenilune/steps/format/png"
	"plenilune/steps/kernel/decorrelation"
	"plenilune/steps/kernel/lettering"
)

// Lengths of a sheet, in pixels.
const (
	sheetGap     = 16
	sheetTitle   = 40 // height of the line above the tiles
	sheetLabel   = 52 // height of the lines below each
	tileLeast    = 230
	valueSize    = 17.0
	figureSize   = 12.5
	titleSize    = 15.0
	tilesAbreast = 4
	followReach  = 64 // px that a crop may lie off in a picture joined anew
)

var (
	sheetPaper = color.NRGBA{26, 27, 29, 255}
	sheetInk   = color.NRGBA{236, 236, 232, 255}
	sheetFaint = color.NRGBA{164, 166, 168, 255}
	noData     = color.NRGBA{58, 52, 64, 255}
)

// scaleTable is what is read of a mosaic's placements.
type scaleTable struct {
	ScaleArcsecPerPx float64 `json:"scale_arcsec_per_px"`
}

func drawSheet(_ context.Context, s sheetSettings, t *pipeline.Task) error {
	var c cropTable
	if err := t.One("crop").Table(&c); err != nil {
		return err
	}
	var scale scaleTable
	if t.Has("placements") {
		if err := t.One("placements").Table(&scale); err != nil {
			return err
		}
	}
	sh := newSheet(s, c.Size*s.Zoom)
	var first shown
	for i, label := range s.Labels {
		lin, err := cropLike(t.In("linear")[i], c, first)
		if err != nil {
			return err
		}
		if i == 0 {
			first = lin
		}
		f := lin.measure(c.Size)
		f.tell(t, i+1, scale.ScaleArcsecPerPx)
		l, err := layOf(t.In("layout")[i])
		if err != nil {
			return err
		}
		at, err := l.over(lin.corner, c.Size)
		if err != nil {
			return err
		}
		if i == 0 {
			sh.head(s.Title, fmt.Sprintf("%d × %d px about (%d, %d)", c.Size, c.Size, at.X+c.Size/2, at.Y+c.Size/2))
		}
		pix, err := cropOfSource(t.In("image")[i], image.Rect(0, 0, c.Size, c.Size).Add(at))
		if err != nil {
			return err
		}
		sh.tile(i, pix, c.Size, s.Zoom, label, f.text(scale.ScaleArcsecPerPx))
		t.Progress(float64(i+1) / float64(len(s.Labels)))
	}
	return t.PutBytes("file", sh.encode)
}

// tileFigures are what a linear picture is found to be.
type tileFigures struct {
	detailPx float64 // half the period of the finest pattern of the crop that stands out of the noise; 0 unknown
	smooth   bool    // there is lit ground to tell the noise from
	noisePct float64 // see noisePct
}

func (f tileFigures) tell(t *pipeline.Task, tile int, arcsecPerPx float64) {
	if f.detailPx > 0 {
		t.Fact(fmt.Sprintf("tile_%d_finest_detail", tile), f.detailPx, "px")
		if arcsecPerPx > 0 {
			t.Fact(fmt.Sprintf("tile_%d_finest_detail_on_the_sky", tile), float64(f.detailPx*arcsecPerPx), "arcsec")
		}
	}
	if f.smooth {
		t.Fact(fmt.Sprintf("tile_%d_noise", tile), f.noisePct, "%")
	}
}

// text is what stands under a tile.
func (f tileFigures) text(arcsecPerPx float64) string {
	var words []string
	if f.detailPx > 0 {
		detail := fmt.Sprintf("detail to %.2f px", f.detailPx)
		if arcsecPerPx > 0 {
			detail += fmt.Sprintf(", %.2f″", f.detailPx*arcsecPerPx)
		}
		words = append(words, detail)
	}
	if f.smooth {
		words = append(words, fmt.Sprintf("noise %.2f %%", f.noisePct))
	}
	return strings.Join(words, " · ")
}

// cropOf reads a rectangle of all channels; what lies beyond the picture is NaN.
func cropOf(p *pipeline.PlaneReader, r image.Rectangle) ([][]float32, error) {
	w, h, channels := p.Size()
	in := r.Intersect(image.Rect(0, 0, w, h))
	out := make([][]float32, channels)
	for c := range out {
		own := make([]float32, in.Dx()*in.Dy())
		if err := p.ReadRect(c, in, own); err != nil {
			return nil, err
		}
		out[c] = make([]float32, r.Dx()*r.Dy())
		for i := range out[c] {
			out[c][i] = float32(math.NaN())
		}
		for y := range in.Dy() {
			copy(out[c][(in.Min.Y-r.Min.Y+y)*r.Dx()+in.Min.X-r.Min.X:], own[y*in.Dx():(y+1)*in.Dx()])
		}
	}
	return out, nil
}

func cropOfSource(s pipeline.Source, r image.Rectangle) ([][]float32, error) {
	p, err := s.Plane()
	if err != nil {
		return nil, err
	}
	defer p.Close()
	return cropOf(p, r)
}

// shown is a crop of a linear picture.
type shown struct {
	lum      []float32
	corner   image.Point // where in the picture
	of       image.Point // the picture's size
	noisePct float64     // see noisePct
	smooth   bool
}

// cropLike reads the luminance of a crop. Of a picture that is not of the first
// one's size, that was joined anew, it is where it shows what the first crop does.
func cropLike(s pipeline.Source, c cropTable, first shown) (out shown, err error) {
	p, err := s.Plane()
	if err != nil {
		return out, err
	}
	defer p.Close()
	w, h, _ := p.Size()
	if out.noisePct, out.smooth, err = noisePct(p); err != nil {
		return out, err
	}
	out.corner, out.of = image.Pt(c.X, c.Y), image.Pt(w, h)
	square := image.Rect(0, 0, c.Size, c.Size)
	if first.lum != nil && first.of != out.of {
		wide := square.Add(out.corner).Inset(-followReach)
		pix, err := cropOf(p, wide)
		if err != nil {
			return out, err
		}
		if d, ok := follow(first.lum, luminance(pix), c.Size, wide.Dx(), wide.Dy()); ok {
			out.corner = wide.Min.Add(d)
		}
	}
	pix, err := cropOf(p, square.Add(out.corner))
	if err != nil {
		return out, err
	}
	out.lum = luminance(pix)
	return out, nil
}

// measure tells what a crop of so many pixels a side is.
func (s shown) measure(size int) tileFigures {
	f := tileFigures{smooth: s.smooth, noisePct: s.noisePct}
	if limit := decorrelation.Limit(filled(s.lum), size, size); limit > 0 {
		f.detailPx = 0.5 / limit
	}
	return f
}

// filled puts the mean where there is no data.
func filled(lum []float32) []float32 {
	sum, n := 0.0, 0.0
	for _, v := range lum {
		if v == v {
			sum += float64(v)
			n++
		}
	}
	out := append([]float32(nil), lum...)
	for i, v := range out {
		if v != v {
			out[i] = float32(sum / max(n, 1))
		}
	}
	return out
}

// sheet is a contact sheet being drawn.
type sheet struct {
	img           *image.NRGBA
	cell, columns int // width of a tile's place, tiles in a row
	side          int // of a tile
}

func newSheet(s sheetSettings, side int) *sheet {
	n := len(s.Labels)
	sh := &sheet{cell: max(side, tileLeast), side: side, columns: s.Columns}
	if sh.columns == 0 {
		sh.columns = min(n, tilesAbreast)
	}
	rows := (n + sh.columns - 1) / sh.columns
	w := sheetGap + sh.columns*(sh.cell+sheetGap)
	h := sheetTitle + rows*(side+sheetLabel) + sheetGap/2
	sh.img = image.NewNRGBA(image.Rect(0, 0, w, h))
	draw.Draw(sh.img, sh.img.Bounds(), image.NewUniform(sheetPaper), image.Point{}, draw.Src)
	return sh
}

// head writes what the strip is about, and of which place, as far as both fit.
func (sh *sheet) head(title, where string) {
	bold, plain := typeface{lettering.Bold, titleSize}, typeface{lettering.Upright, figureSize}
	right := sh.img.Rect.Max.X - sheetGap
	bold.write(sh.img, title, sheetGap, 27, sheetInk, right)
	if at := right - plain.width(where); at > sheetGap+bold.width(title)+sheetGap {
		plain.write(sh.img, where, at, 27, sheetFaint, right)
	}
}

// tile draws the i-th tile with its lines.
func (sh *sheet) tile(i int, pix [][]float32, size, zoom int, label, figures string) {
	bold, plain := fitting(label, sh.cell), typeface{lettering.Upright, figureSize}
	x := sheetGap + i%sh.columns*(sh.cell+sheetGap)
	y := sheetTitle + i/sh.columns*(sh.side+sheetLabel)
	for v := range size * zoom {
		for u := range size * zoom {
			sh.img.SetNRGBA(x+u, y+v, shade(pix, v/zoom*size+u/zoom))
		}
	}
	bold.write(sh.img, label, x, y+sh.side+20, sheetInk, x+sh.cell)
	plain.write(sh.img, figures, x, y+sh.side+38, sheetFaint, x+sh.cell)
}

// fitting is the largest type of a few sizes in which a value fits its place.
func fitting(label string, width int) typeface {
	t := typeface{lettering.Bold, valueSize}
	for t.width(label) > width && t.size > figureSize {
		t.size -= 1.5
	}
	return t
}

// shade is the colour of a pixel of finished channels.
func shade(pix [][]float32, i int) color.NRGBA {
	var v [3]uint8
	for c := range v {
		p := pix[min(c, len(pix)-1)][i]
		if p != p {
			return noData
		}
		v[c] = uint8(float32(min(max(p, 0), 1)*255) + 0.5)
	}
	return color.NRGBA{v[0], v[1], v[2], 255}
}

func (sh *sheet) encode(w io.Writer) error {
	b := sh.img.Rect
	rows := png.Rows{W: b.Dx(), H: b.Dy(), Channels: 3, Bits: 8, Row: func(y int, dst []uint16) error {
		for x := range b.Dx() {
			for c := range 3 {
				dst[3*x+c] = uint16(sh.img.Pix[y*sh.img.Stride+4*x+c])
			}
		}
		return nil
	}}
	return png.Encode(w, rows, png.SRGB()...)
}
