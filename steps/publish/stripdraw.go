package publish

import (
	"image"
	"image/draw"
	"io"

	"plenilune/pipeline"
	"plenilune/steps/format/png"
	"plenilune/steps/kernel/lettering"
)

// tileOnSheet is one finished crop with its lines.
type tileOnSheet struct {
	picture        pipeline.Source
	crop           image.Rectangle
	label, figures string
}

// sheet is a contact sheet, drawn as its rows are written: of pixels it holds one row of tiles.
type sheet struct {
	sheetSettings
	where string // of what place it is
	side  int    // px of a tile on the sheet; all show the same ground
	tiles []tileOnSheet

	drawn  int       // the row of tiles held, from 1 on
	pixels [][]uint8 // of each of its tiles, three a pixel of the crop
}

func (sh *sheet) cell() int { return max(sh.side, tileLeast) }

// grow makes the tiles larger, so that one of a finer picture shows all its pixels, as long as the sheet keeps to its bound.
func (sh *sheet) grow(side int) {
	if side > sh.side && side*side*len(sh.Labels) <= mostSheetPx {
		sh.side = side
	}
}

// size is the sheet's, in pixels.
func (sh *sheet) size() (w, h int) {
	rows := (len(sh.tiles) + sh.columns() - 1) / sh.columns()
	return sheetGap + sh.columns()*(sh.cell()+sheetGap), sheetTitle + rows*(sh.side+sheetLabel) + sheetGap/2
}

func (sh *sheet) encode(w io.Writer) error {
	width, height := sh.size()
	title := sh.head(width)
	var lines *image.NRGBA
	rows := png.Rows{W: width, H: height, Channels: 3, Bits: 8, Row: func(y int, dst []uint16) error {
		if y < sheetTitle {
			copyRow(dst, title, y)
			return nil
		}
		for x := range width {
			dst[3*x], dst[3*x+1], dst[3*x+2] = uint16(sheetPaper.R), uint16(sheetPaper.G), uint16(sheetPaper.B)
		}
		row, v := (y-sheetTitle)/(sh.side+sheetLabel), (y-sheetTitle)%(sh.side+sheetLabel)
		if row*sh.columns() >= len(sh.tiles) {
			return nil
		}
		if sh.drawn != row+1 {
			if err := sh.load(row); err != nil {
				return err
			}
			lines = sh.write(row, width)
		}
		if v < sh.side {
			sh.pixelRow(row, v, dst)
		} else {
			copyRow(dst, lines, v-sh.side)
		}
		return nil
	}}
	return png.Encode(w, rows, png.SRGB()...)
}

// inRow returns the tiles of a row.
func (sh *sheet) inRow(row int) []tileOnSheet {
	return sh.tiles[row*sh.columns() : min((row+1)*sh.columns(), len(sh.tiles))]
}

// load reads the crops of a row of tiles.
func (sh *sheet) load(row int) error {
	sh.drawn, sh.pixels = row+1, nil
	for _, t := range sh.inRow(row) {
		pix, err := cropOfSource(t.picture, t.crop)
		if err != nil {
			return err
		}
		out := make([]uint8, 3*len(pix[0]))
		for i := range pix[0] {
			c := shade(pix, i)
			out[3*i], out[3*i+1], out[3*i+2] = c.R, c.G, c.B
		}
		sh.pixels = append(sh.pixels, out)
	}
	return nil
}

// pixelRow fills row v of a row of tiles: each pixel of a crop is shown as a block, so large that all crops are of one size.
func (sh *sheet) pixelRow(row, v int, dst []uint16) {
	for k, t := range sh.inRow(row) {
		n := t.crop.Dx()
		from := sh.pixels[k][3*n*(v*n/sh.side):]
		to := dst[3*(sheetGap+k*(sh.cell()+sheetGap)):]
		for u := range sh.side {
			for c := range 3 {
				to[3*u+c] = uint16(from[3*(u*n/sh.side)+c])
			}
		}
	}
}

func paper(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	draw.Draw(img, img.Rect, image.NewUniform(sheetPaper), image.Point{}, draw.Src)
	return img
}

func copyRow(dst []uint16, img *image.NRGBA, y int) {
	for x := range img.Rect.Dx() {
		for c := range 3 {
			dst[3*x+c] = uint16(img.Pix[y*img.Stride+4*x+c])
		}
	}
}

// head draws what the strip is about, and of which place, as far as both fit.
func (sh *sheet) head(width int) *image.NRGBA {
	img := paper(width, sheetTitle)
	bold, plain := typeface{lettering.Bold, titleSize}, typeface{lettering.Upright, figureSize}
	right := width - sheetGap
	bold.write(img, sh.Title, sheetGap, 27, sheetInk, right)
	if at := right - plain.width(sh.where); at > sheetGap+bold.width(sh.Title)+sheetGap {
		plain.write(img, sh.where, at, 27, sheetFaint, right)
	}
	return img
}

// write draws the lines under a row of tiles.
func (sh *sheet) write(row, width int) *image.NRGBA {
	img := paper(width, sheetLabel)
	plain := typeface{lettering.Upright, figureSize}
	for k, t := range sh.inRow(row) {
		x := sheetGap + k*(sh.cell()+sheetGap)
		fitting(t.label, sh.cell()).write(img, t.label, x, 20, sheetInk, x+sh.cell())
		plain.write(img, t.figures, x, 38, sheetFaint, x+sh.cell())
	}
	return img
}
