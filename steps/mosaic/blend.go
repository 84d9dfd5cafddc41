package mosaic

import (
	"image"
	"math"

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

// voice is what each pixel of a panel has to say against other panels.
type voice struct {
	w, h  int
	far   []uint16 // distance to the next border or hole in 1/farUnit pixels; 0: a hole
	stack []uint8  // the stack's own weight, 0…255
	wide  float32  // pixels over which the broad picture gains its full say
}

const farUnit = 32

func voiceOf(v, weight []float32, w, h int) voice {
	mask, _ := maskOf(v)
	s := voice{w, h, make([]uint16, w*h), make([]uint8, w*h), float32(min(w, h)) / 6}
	for i, d := range distance(mask, w, h) {
		if mask[i] == 0 {
			continue
		}
		s.far[i] = uint16(min(d*farUnit, math.MaxUint16))
		s.stack[i] = 255
		if k := weight[i]; k == k {
			s.stack[i] = uint8(math.Round(float64(255 * min(max(k, 0), 1))))
		}
	}
	return s
}

// at interpolates distance in pixels and weight at a place; far is 0 beside a hole and outside.
func (s *voice) at(u, v float64) (far, weight float32) {
	right, low := float64(s.w-1), float64(s.h-1)
	if !(u > -rounding && v > -rounding && u < right+rounding && v < low+rounding) {
		return 0, 0
	}
	u, v = min(max(u, 0), right), min(max(v, 0), low)
	fu, fv := math.Floor(u), math.Floor(v)
	i := int(fv)*s.w + int(fu)
	next, below := 1, s.w // the neighbour, or at the last column and row the pixel itself
	if fu == right {
		next = 0
	}
	if fv == low {
		below = 0
	}
	a, b, c, d := s.far[i], s.far[i+next], s.far[i+below], s.far[i+below+next]
	if a == 0 || b == 0 || c == 0 || d == 0 {
		return 0, 0
	}
	x, y := float32(u-fu), float32(v-fv)
	far = mix(float32(a), float32(b), float32(c), float32(d), x, y) / farUnit
	k, l := s.stack[i:], s.stack[i+below:]
	return far, mix(float32(k[0]), float32(k[next]), float32(l[0]), float32(l[next]), x, y) / 255
}

func mix(a, b, c, d, x, y float32) float32 {
	top := a + float32(x*(b-a))
	low := c + float32(x*(d-c))
	return top + float32(y*(low-top))
}

// leastSay keeps a pixel that no other panel shows from being nothing.
const leastSay = 1.0 / 255

// say is a panel's say at a distance from its border: none there, smoothly rising to weight.
func say(far, weight, reach float32) float32 {
	f := min(1, far/reach)
	f *= f * (3 - float32(2*f))
	return max(leastSay, f*weight)
}

// blend gathers the panels that touch a rectangle of the joined picture.
type blend struct {
	r           image.Rectangle
	broad, over *plane.Image // sum of what is broader than the planes, and of its weights
	fine, under [sharpBands]*plane.Image
	accord      *accord
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
	stack []float32 // the stack's own weight there
}

// add adds a panel that touches the blend in a part of its rectangle, drawn there and margin all round, brought to the
// common brightness and sharpness. In each plane a panel counts by the inverse square of its gain, which raises its
// noise, the standard deviation of which is sigma.
func (b *blend) add(in image.Rectangle, img *plane.Image, k says, lv level, sharp sharpness, sigma float64) {
	var gain, count [sharpBands]float32
	for j := range gain {
		g := sharp.gain(j)
		gain[j], count[j] = float32(g*lv.Factor), float32(1/float64(g*g))
	}
	b.accord.begin(sigma, gain)
	wide, leads := make([]float32, in.Dx()), make([]bool, in.Dx())
	factor, offset := float32(lv.Factor), float32(lv.Offset)
	for c := range b.broad.Pix {
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
			out, over, most := b.broad.Pix[c][at:], b.over.Pix[c][at:], b.accord.most[at:]
			for x, s := range wide {
				if c == 0 {
					leads[x] = s > most[x]
					most[x] = max(most[x], s)
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
	doubt := b.accord.doubt(b)
	for c, out := range b.broad.Pix {
		for i, w := range b.over.Pix[c] {
			if w == 0 {
				out[i] = nan32
				continue
			}
			out[i] /= w
			for j := range b.fine {
				v := b.fine[j].Pix[c][i] / b.under[j].Pix[c][i]
				if doubt != nil && doubt[i] > 0 {
					v += float32(doubt[i] * (b.accord.lead[j][c][i] - v))
				}
				out[i] += v
			}
		}
	}
	return b.broad.Pix
}
