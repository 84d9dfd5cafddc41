package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
)

// drawnSide is how many pixels the disk so far has along its longer side.
const drawnSide = 1200

// viewBox is what the picture of the disk shows: all panels and, where the limb is known, the disk.
func viewBox(pl *placementsRow, panels []*chartedPanel) [4]float64 {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range panels {
		for _, c := range p.field.corners() {
			x0, y0, x1, y1 = min(x0, c[0]), min(y0, c[1]), max(x1, c[0]), max(y1, c[1])
		}
	}
	if l := pl.Limb; l.Found {
		x0, y0, x1, y1 = min(x0, l.X-l.Radius), min(y0, l.Y-l.Radius), max(x1, l.X+l.Radius), max(y1, l.Y+l.Radius)
	}
	m := float64(max(x1-x0, y1-y0) * 0.02)
	return [4]float64{x0 - m, y0 - m, x1 - x0 + float64(2*m), y1 - y0 + float64(2*m)}
}

// drawDisk draws panels where they lie, each fading out towards its border: quickly, for the eye alone.
func drawDisk(box [4]float64, panels []*chartedPanel) ([]byte, error) {
	x0, y0, w, h := box[0], box[1], box[2], box[3]
	step := max(w, h) / drawnSide
	img := image.NewGray(image.Rect(0, 0, max(1, int(w/step)), max(1, int(h/step))))
	low, high := math.Inf(1), 0.0
	for _, p := range panels {
		low, high = min(low, p.level(p.small.dark)), max(high, p.level(p.small.bright))
	}
	for j := range img.Rect.Dy() {
		y := y0 + float64((float64(j)+0.5)*step)
		for i := range img.Rect.Dx() {
			x := x0 + float64((float64(i)+0.5)*step)
			var sum, weight float64
			for _, p := range panels {
				if v := p.shows(x, y); v == v {
					near := p.field.inside(x, y)
					sum, weight = sum+float64(near*v), weight+near
				}
			}
			if weight > 0 {
				img.SetGray(i, j, color.Gray{Y: toned((sum/weight - low) / (high - low))})
			}
		}
	}
	return encodeGray(img)
}

// inside is how far within the field a place lies, in its pixels, and a little more.
func (f field) inside(x, y float64) float64 {
	u, v := f.of(x, y)
	return max(0, min(u, v, f.w-1-u, f.h-1-v)) + 0.1
}

// toned brings light, 0…1, to what a screen shows: brighter than in proportion, so that the terminator is seen.
func toned(v float64) uint8 { return uint8(12 + float64(243*math.Sqrt(min(max(v, 0), 1)))) }

// drawPanel draws one panel alone.
func drawPanel(p *watchedPanel) ([]byte, error) {
	img := image.NewGray(image.Rect(0, 0, p.small.w, p.small.h))
	for k, v := range p.small.v {
		if v == v {
			img.Pix[k/p.small.w*img.Stride+k%p.small.w] = toned((float64(v) - p.small.dark) / max(p.small.bright-p.small.dark, 1e-6))
		}
	}
	return encodeGray(img)
}

func encodeGray(img *image.Gray) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 85}); err != nil {
		return nil, fmt.Errorf("encode the picture: %w", err)
	}
	return b.Bytes(), nil
}
