package publish

import (
	"image"
	"image/color"
	"image/draw"

	"plenilune/steps/kernel/lettering"
)

// typeface writes lines of one style and size, in pixels from line to line.
type typeface struct {
	style lettering.Style
	size  float64
}

func (t typeface) width(s string) int { return lettering.Width(s, t.style, t.size) }

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
	m := lettering.Draw(s, t.style, t.size)
	at := image.Rect(x+m.X, y+m.Y, x+m.X+m.W, y+m.Y+m.H)
	draw.DrawMask(dst, at, image.NewUniform(ink), image.Point{}, &image.Alpha{Pix: m.Ink, Stride: m.W, Rect: image.Rect(0, 0, m.W, m.H)}, image.Point{}, draw.Over)
}
