package mosaic

import (
	"image"

	"plenilune/steps/kernel/plane"
)

// Panels are blended band by band (Burt & Adelson 1983, ACM TOG 2:217), each band over a width that suits its scale.
// In place of their decimated pyramid stand the starlet planes, which need no grid of their own, so that each tile of
// the joined picture can be made alone: what is broader than the planes crosses over widely, so that no step of
// brightness shows; the planes cross over within a few of their scales and are averaged all over the rest of
// an overlap. Measured on simulated nights, averaging gives more resolution and less error than leaning to either of two
// panels: it halves the power of their noise and of what the air left of distortion. Only where panels disagree is
// one preferred (see accord).

// fineReach is over how many pixels from a panel's border its finest plane gains its full say; twice that for the
// next plane, and so on. Measured: at 4 borders begin to show; over the width of the broad picture, resolution is lost.
const fineReach = 10

// blend gathers the panels that touch a rectangle of the joined picture.
type blend struct {
	r           image.Rectangle
	broad, over *plane.Image // sum of what is broader than the planes, and of its weights
	fine, under [sharpBands]*plane.Image
	accord      *accord
	panels      int       // added so far
	doubt       []float32 // how far each pixel is taken from one panel alone; nil: not at all
}

// gains are those of a panel: on its planes, and by what its say in them is multiplied.
type gains struct{ planes, count [sharpBands]float32 }

// gainOf returns a panel's gains, and that of what is broader than the planes. In each plane a panel counts by the inverse
// square of its gain, which raises its noise.
func (b *blend) gainOf(lv level, sharp sharpness) (g gains, broad float32) {
	for j := range g.planes {
		k := sharp.gain(j)
		g.planes[j], g.count[j] = float32(k*lv.Factor), float32(1/float64(k*k))
	}
	return g, float32(lv.Factor)
}

// levelOf is a panel's level in a channel.
func levelOf(lv []level, channel int) level { return lv[min(channel, len(lv)-1)] }

// doubtAt is how far a pixel is taken from one panel alone, 0…1.
func (b *blend) doubtAt(i int) float32 {
	if b.doubt == nil {
		return 0
	}
	return b.doubt[i]
}

func newBlend(r image.Rectangle, channels int) *blend {
	b := &blend{r: r, broad: plane.New(r.Dx(), r.Dy(), channels), over: plane.New(r.Dx(), r.Dy(), channels), accord: newAccord(r, channels)}
	for j := range b.fine {
		b.fine[j], b.under[j] = plane.New(r.Dx(), r.Dy(), channels), plane.New(r.Dx(), r.Dy(), channels)
	}
	return b
}

// margin is how much wider than its rectangle a blend needs a panel to be drawn.
const margin = sharpReach

// says is a panel's say at each pixel of a rectangle; where wide is zero, it has none.
type says struct {
	wide  []float32
	fine  [sharpBands][]float32
	stack []float32 // the stack's own weight there, less where a dark corner was raised
}

// add adds a panel that touches the blend in a part of its rectangle, drawn there and margin all round, brought to the
// common brightness and sharpness. The standard deviation of its noise is sigma.
func (b *blend) add(in image.Rectangle, img *plane.Image, k says, lv []level, sharp sharpness, sigma float64) {
	b.accord.begin()
	b.panels++
	wide, leads := make([]float32, in.Dx()), make([]bool, in.Dx())
	for c := range b.broad.Pix {
		l := levelOf(lv, c)
		g, factor := b.gainOf(l, sharp)
		gain, count, offset := g.planes, g.count, float32(l.Offset)
		b.accord.channel(sigma, gain)
		planes, rest, mask := split(img.Pix[min(c, len(img.Pix)-1)], img.W, img.H)
		for y := range in.Dy() {
			at := (in.Min.Y+y-b.r.Min.Y)*b.r.Dx() + in.Min.X - b.r.Min.X
			from := (y+margin)*img.W + margin
			row := y * in.Dx()
			copy(wide, k.wide[row:])
			for x := range wide {
				if mask != nil && mask[from+x] == 0 {
					wide[x] = 0
				}
			}
			out, over, most, who := b.broad.Pix[c][at:], b.over.Pix[c][at:], b.accord.most[at:], b.accord.who[at:]
			for x, s := range wide {
				if c == 0 {
					if leads[x] = s > most[x]; leads[x] {
						most[x], who[x] = s, b.panels
					}
				}
				over[x] += s
				out[x] += float32(s * (float32(factor*rest[from+x]) + offset))
			}
			for j, d := range planes {
				out, under, fine := b.fine[j].Pix[c][at:], b.under[j].Pix[c][at:], k.fine[j][row:]
				for x, s := range wide {
					if s > 0 {
						f := float32(fine[x] * count[j])
						v := float32(gain[j] * d[from+x])
						under[x] += f
						out[x] += float32(f * v)
						b.accord.add(j, c, at+x, v, f, leads[x])
					}
				}
			}
		}
	}
}

// finish returns the blended channels, NaN where no panel shows anything.
func (b *blend) finish() [][]float32 {
	b.doubt = b.accord.doubt(b)
	for c, out := range b.broad.Pix {
		for i, w := range b.over.Pix[c] {
			if w == 0 {
				out[i] = nan32
				continue
			}
			out[i] /= w
			for j := range b.fine {
				v := b.fine[j].Pix[c][i] / b.under[j].Pix[c][i]
				if d := b.doubtAt(i); d > 0 {
					v += float32(d * (b.accord.lead[j][c][i] - v))
				}
				out[i] += v
			}
		}
	}
	return b.broad.Pix
}
