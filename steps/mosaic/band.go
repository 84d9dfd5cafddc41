package mosaic

import "math"

// coarseBlur is the upper end of the band in which overlaps are compared, in pixels.
const coarseBlur = 4

// band is a panel's detail between 1 and coarseBlur pixels of blur, and how much each pixel may say, 0…255: nothing in and
// beside holes and at the border, and little near them, where the broad blur sees one side only.
type band struct {
	w, h   int
	detail []float32
	say    []uint8
}

// bandMute is how far from a hole or the border, in pixels, a pixel says nothing: farther than interpolation reaches.
const bandMute = 3

// sayFade is over how many pixels further in a pixel gains its full say.
const sayFade = 6

// bandOf takes the band out of a whole panel, not of overlaps: what a border leaves in it then lies in one panel
// alone and cannot pass for agreement.
func bandOf(p panel) band {
	mask, filled := maskOf(p.v)
	fine, coarse := smoothOver(filled, mask, p.w, p.h, 1), smoothOver(filled, mask, p.w, p.h, coarseBlur)
	b := band{p.w, p.h, fine, make([]uint8, len(fine))}
	for i, d := range distanceWithin(mask, p.w, p.h, bandMute+sayFade) {
		fine[i] -= coarse[i]
		if b.say[i] = 255; d < bandMute+sayFade {
			b.say[i] = uint8(math.Round(255 * float64(max(d-bandMute, 0)/sayFade)))
		}
	}
	return b
}

// draw resamples a band onto the mosaic's pixels from (x0, y0) on (Keys' cubic), and its say with it, 0…1.
func (b band) draw(m similarity, x0, y0, w, h int) (detail, say []float32) {
	detail, say = make([]float32, w*h), make([]float32, w*h)
	toPanel := m.inverse()
	right, low := float64(b.w-bandMute), float64(b.h-bandMute)
	for y := range h {
		for x := range w {
			u, v := toPanel.at(float64(x0+x), float64(y0+y))
			if !(u >= bandMute-1 && v >= bandMute-1 && u < right && v < low) {
				continue
			}
			ix, iy := int(u), int(v)
			fx, fy := float32(u-float64(ix)), float32(v-float64(iy))
			at := iy*b.w + ix
			k, l := b.say[at:at+2], b.say[at+b.w:at+b.w+2]
			if k[0]|k[1]|l[0]|l[1] == 0 {
				continue
			}
			i := y*w + x
			if say[i] = 1; k[0]&k[1]&l[0]&l[1] != 255 {
				say[i] = mix(float32(k[0]), float32(k[1]), float32(l[0]), float32(l[1]), fx, fy) / 255
			}
			detail[i] = keys(b.detail[at-b.w-1:], b.w, fx, fy)
		}
	}
	return detail, say
}

// keys interpolates between four by four pixels, the first of which is the first of pix, at (fx, fy) right of and below
// the second of the second row (Keys 1981, with a = −1/2).
func keys(pix []float32, w int, fx, fy float32) float32 {
	kx, ky := &keysTable[int(float32(fx*keysPhases)+0.5)], &keysTable[int(float32(fy*keysPhases)+0.5)]
	var sum float32
	for j, k := range ky {
		p := pix[j*w : j*w+4]
		line := float32(kx[0]*p[0]) + float32(kx[1]*p[1]) + float32(kx[2]*p[2]) + float32(kx[3]*p[3])
		sum += float32(k * line)
	}
	return sum
}

// keysPhases is for how many places between two pixels taps are kept: none is looked at more than 0.0005 px off.
const keysPhases = 1024

var keysTable = func() (out [keysPhases + 1][4]float32) {
	for k := range out {
		out[k] = keysTaps(float32(k) / keysPhases)
	}
	return out
}()

func keysTaps(t float32) [4]float32 {
	t2 := float32(t * t)
	t3 := float32(t2 * t)
	return [4]float32{
		t2 - float32(0.5*t3) - float32(0.5*t),
		1 + float32(1.5*t3) - float32(2.5*t2),
		float32(0.5*t) + float32(2*t2) - float32(1.5*t3),
		float32(0.5*t3) - float32(0.5*t2),
	}
}
