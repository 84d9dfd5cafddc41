package publish

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// typeface writes lines of one size in the Go fonts (Bigelow & Holmes 2016, under
// the BSD licence of the Go project).
type typeface struct{ face font.Face }

// newTypeface opens a font at so many pixels an em.
func newTypeface(bold bool, size float64) (typeface, error) {
	data := goregular.TTF
	if bold {
		data = gobold.TTF
	}
	f, err := opentype.Parse(data)
	if err != nil {
		return typeface{}, fmt.Errorf("read the font: %w", err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return typeface{}, fmt.Errorf("open the font at %g px: %w", size, err)
	}
	return typeface{face}, nil
}

func (t typeface) width(s string) int { return font.MeasureString(t.face, s).Ceil() }

// write draws a line whose base begins at (x, y); what does not fit before right is
// left out, and an ellipsis says so.
func (t typeface) write(dst draw.Image, s string, x, y int, ink color.Color, right int) {
	if t.width(s) > right-x {
		letters := []rune(s)
		for len(letters) > 0 && t.width(string(letters)+"…") > right-x {
			letters = letters[:len(letters)-1]
		}
		s = string(letters) + "…"
	}
	d := font.Drawer{Dst: dst, Src: image.NewUniform(ink), Face: t.face, Dot: fixed.P(x, y)}
	d.DrawString(s)
}
