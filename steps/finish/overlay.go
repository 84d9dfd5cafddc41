package finish

import (
	"image"
	"math"

	"plenilune/steps/kernel/lettering"
)

// overlay is what is written on a picture: letters and lines in white over dark halos, so that they are read on light and dark
// ground.
type overlay struct{ ink, halo []lettering.Mask }

// How white ink is, and how much of the light a halo takes.
const (
	inkWhite  = 0.97
	haloTakes = 0.7
)

func newOverlay(names []nameRow, bar *barRow) overlay {
	var o overlay
	add := func(m lettering.Mask, px float64) {
		o.ink = append(o.ink, m)
		o.halo = append(o.halo, m.Halo(max(2, int(math.Round(px/9)))))
	}
	for _, n := range names {
		m := lettering.Draw(n.Text, n.style(), n.Px)
		m.X += n.Left
		m.Y += n.Base
		add(m, n.Px)
	}
	if bar != nil {
		for _, m := range bar.masks() {
			add(m, bar.Px)
		}
	}
	return o
}

// write lays the overlay on a tile that lies at r, of values as shown.
func (o overlay) write(r image.Rectangle, pix [][]float32) {
	for i, m := range o.halo {
		each(m, r, pix, func(v, share float32) float32 { return v * (1 - float32(haloTakes*share)) })
		each(o.ink[i], r, pix, func(v, share float32) float32 { return v + float32(share*(inkWhite-v)) })
	}
}

func each(m lettering.Mask, r image.Rectangle, pix [][]float32, f func(v, share float32) float32) {
	in := image.Rect(m.X, m.Y, m.X+m.W, m.Y+m.H).Intersect(r)
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			k := m.Ink[(y-m.Y)*m.W+x-m.X]
			if k == 0 {
				continue
			}
			for _, p := range pix {
				i := (y-r.Min.Y)*r.Dx() + x - r.Min.X
				if p[i] != p[i] {
					p[i] = 0
				}
				p[i] = f(p[i], float32(k)/255)
			}
		}
	}
}
