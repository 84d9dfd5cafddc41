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

// newOverlay draws what is to be written; each spreads the work of the halos.
func newOverlay(names []nameRow, bar *barRow, each func(n int, f func(i int) error) error) (overlay, error) {
	var o overlay
	var px []float64
	for _, n := range names {
		m := lettering.Draw(n.Text, n.style(), n.Px)
		m.X += n.Left
		m.Y += n.Base
		o.ink, px = append(o.ink, m), append(px, n.Px)
	}
	if bar != nil {
		for _, m := range bar.masks() {
			o.ink, px = append(o.ink, m), append(px, bar.Px)
		}
	}
	o.halo = make([]lettering.Mask, len(o.ink))
	return o, each(len(o.ink), func(i int) error {
		o.halo[i] = o.ink[i].Halo(max(2, int(math.Round(px[i]/9))))
		return nil
	})
}

// write lays the overlay on a tile that lies at r, of values as shown.
func (o overlay) write(r image.Rectangle, pix [][]float32) {
	for i, m := range o.halo {
		blend(m, r, pix, func(v, share float32) float32 { return v * (1 - float32(haloTakes*share)) })
		blend(o.ink[i], r, pix, func(v, share float32) float32 { return v + float32(share*(inkWhite-v)) })
	}
}

func blend(m lettering.Mask, r image.Rectangle, pix [][]float32, f func(v, share float32) float32) {
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
