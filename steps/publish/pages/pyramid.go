package pages

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/srgb"
)

// level is a picture of 8-bit sRGB values: an image.Gray, or an image.RGBA without transparency.
type level struct {
	w, h, channels int // channels is 1 or 3
	step           int // bytes a pixel
	pix            []byte
}

func newLevel(w, h, channels int) level {
	l := level{w: w, h: h, channels: channels, step: 1}
	if channels > 1 {
		l.step = 4
	}
	l.pix = make([]byte, w*h*l.step)
	return l
}

// window returns a rectangle of the level as an image, without copying.
func (l level) window(r image.Rectangle) image.Image {
	all := image.Rect(0, 0, l.w, l.h)
	if l.step == 1 {
		return (&image.Gray{Pix: l.pix, Stride: l.w, Rect: all}).SubImage(r)
	}
	return (&image.RGBA{Pix: l.pix, Stride: 4 * l.w, Rect: all}).SubImage(r)
}

// bandRows is how many rows are worked on at once: as many as a stored tile has.
const bandRows = 256

func bands(h int) int { return (h + bandRows - 1) / bandRows }

// readLevel reads a plane of sRGB values, 0…1, band by band; no data is black.
func readLevel(ctx context.Context, t *pipeline.Task, p *pipeline.PlaneReader) (level, error) {
	w, h, c := p.Size()
	if c != 1 && c != 3 {
		return level{}, fmt.Errorf("a picture of %d channels: pages show one or three", c)
	}
	l := newLevel(w, h, c)
	err := t.Each(ctx, bands(h), func(i int) error {
		r := image.Rect(0, i*bandRows, w, min((i+1)*bandRows, h))
		buf := make([]float32, r.Dx()*r.Dy())
		to := l.pix[r.Min.Y*w*l.step:]
		for k := range c {
			if err := p.ReadRect(k, r, buf); err != nil {
				return fmt.Errorf("read rows from %d: %w", r.Min.Y, err)
			}
			for j, v := range buf {
				to[j*l.step+k] = byteOf(v)
			}
		}
		if c == 3 {
			for j := range buf {
				to[4*j+3] = 255
			}
		}
		return nil
	})
	return l, err
}

func byteOf(v float32) byte {
	if v != v {
		return 0
	}
	return byte(math.Floor(float64(min(max(float64(v), 0), 1)*255) + 0.5))
}

// lightTables turn sRGB values of 8 bits into light in steps of 1/65535 and back.
type lightTables struct {
	light [256]uint32
	value [65536]byte
}

func newLightTables() *lightTables {
	var t lightTables
	for i := range t.light {
		t.light[i] = uint32(math.Floor(float64(srgb.Decode(float64(i)/255)*65535) + 0.5))
	}
	for i := range t.value {
		t.value[i] = byte(math.Floor(float64(srgb.Encode(float64(i)/65535)*255) + 0.5))
	}
	return &t
}

// half returns the level at half the scale, sides rounded up: the mean light of each two by two pixels, or of those that there
// are at the right and lower edge.
func (l level) half(ctx context.Context, t *pipeline.Task, tables *lightTables) (level, error) {
	out := newLevel((l.w+1)/2, (l.h+1)/2, l.channels)
	err := t.Each(ctx, bands(out.h), func(i int) error {
		for y := i * bandRows; y < min((i+1)*bandRows, out.h); y++ {
			l.halfRow(out.pix[y*out.w*out.step:][:out.w*out.step], y, tables)
		}
		return nil
	})
	return out, err
}

func (l level) halfRow(dst []byte, y int, t *lightTables) {
	upper := l.pix[2*y*l.w*l.step:][:l.w*l.step]
	lower := upper
	if 2*y+1 < l.h {
		lower = l.pix[(2*y+1)*l.w*l.step:][:l.w*l.step]
	}
	for x := range len(dst) / l.step {
		a, b := 2*x*l.step, min(2*x+1, l.w-1)*l.step
		for c := range l.channels {
			sum := t.light[upper[a+c]] + t.light[upper[b+c]] + t.light[lower[a+c]] + t.light[lower[b+c]]
			dst[x*l.step+c] = t.value[(sum+2)/4]
		}
		if l.step == 4 {
			dst[4*x+3] = 255
		}
	}
}
