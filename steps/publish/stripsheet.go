package publish

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"plenilune/pipeline"
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
)

var (
	sheetPaper = color.NRGBA{26, 27, 29, 255}
	sheetInk   = color.NRGBA{236, 236, 232, 255}
	sheetFaint = color.NRGBA{164, 166, 168, 255}
	noData     = color.NRGBA{58, 52, 64, 255}
)

// memory is what drawing takes: a crop of up to scaleMost times the side in single precision with what its measuring needs, a row
// of tiles in bytes, what finding a crop again needs, and the lines of text.
func (s sheetSettings) memory(size int) int64 {
	px := int64(scaleMost * scaleMost * float64(size*size))
	text := int64(s.Zoom*size+tileLeast+sheetGap) * sheetLabel * 4 * 2
	return 64*px + int64(s.columns())*(3*px+text) + 192<<20
}

// columns is how many tiles stand in a row.
func (s sheetSettings) columns() int {
	if s.Columns > 0 {
		return s.Columns
	}
	return min(len(s.Labels), tilesAbreast)
}

func drawSheet(ctx context.Context, s sheetSettings, t *pipeline.Task) error {
	var c cropTable
	if err := t.One("crop").Table(&c); err != nil {
		return err
	}
	sh := &sheet{sheetSettings: s, side: c.Size * s.Zoom}
	var first *shown
	for i, label := range s.Labels {
		if err := ctx.Err(); err != nil {
			return err
		}
		l, err := layOf(t.In("layout")[i])
		if err != nil {
			return err
		}
		lin, err := cropLike(t.In("linear")[i], l, c, first)
		if err != nil {
			return err
		}
		at, err := l.over(lin.corner, lin.side)
		if err != nil {
			return err
		}
		f := lin.measure()
		f.tell(t, i+1)
		if f.lost {
			t.Warn("tile-not-found", "tile %d (%s): the first one's crop was not found in this picture, and other ground may be shown", i+1, label)
		}
		if i == 0 {
			first = &lin
			sh.where = fmt.Sprintf("%d × %d px about (%d, %d)", c.Size, c.Size, at.X+c.Size/2, at.Y+c.Size/2)
		}
		sh.tiles = append(sh.tiles, tileOnSheet{t.In("image")[i], image.Rect(0, 0, lin.side, lin.side).Add(at), label, f.text()})
		sh.grow(lin.side * s.Zoom)
		t.Progress(float64(i+1) / float64(len(s.Labels)+1))
	}
	return t.PutBytes("file", sh.encode)
}

// tileFigures are what a linear picture is found to be.
type tileFigures struct {
	detailPx float64 // half the period of the finest pattern of the crop that stands out of the noise; 0 unknown
	smooth   bool    // there is lit ground to tell the noise from
	noisePct float64 // see noisePct
	lost     bool    // the crop was not found in the picture

	arcsecPerPx float64 // of this picture; 0 unknown
}

func (f tileFigures) tell(t *pipeline.Task, tile int) {
	if f.detailPx > 0 {
		t.Fact(fmt.Sprintf("tile_%d_finest_detail", tile), f.detailPx, "px")
		if f.arcsecPerPx > 0 {
			t.Fact(fmt.Sprintf("tile_%d_finest_detail_on_the_sky", tile), float64(f.detailPx*f.arcsecPerPx), "arcsec")
		}
	}
	if f.smooth {
		t.Fact(fmt.Sprintf("tile_%d_noise", tile), f.noisePct, "%")
	}
}

// text is what stands under a tile.
func (f tileFigures) text() string {
	var words []string
	if f.lost {
		words = append(words, "place not found")
	}
	if f.detailPx > 0 {
		detail := fmt.Sprintf("detail to %.2f px", f.detailPx)
		if f.arcsecPerPx > 0 {
			detail += fmt.Sprintf(", %.2f″", f.detailPx*f.arcsecPerPx)
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
