package stacks

import (
	"math"
	"testing"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/raw"
)

// How bright each channel sees the ground, and where red and blue lie against green.
var (
	tint   = [3]float64{0.9, 0.6, 0.4}
	prism  = [3][2]float64{{0.7, -0.9}, {}, {-0.45, 0.6}}
	frames = 20
)

// colourFilm records the terrain in colour, in a pattern: three samples a pixel, or one behind a filter.
func colourFilm(pattern string) (pipelinetest.File, clipIndex, map[string]any) {
	_, _, tab := film(frames, 0)
	shift := tab["shift"].([][2]float64)
	l := raw.Layout{Width: sceneW, Height: sceneH, Planes: 1, SampleBytes: 2, Pattern: pattern}
	order := []int{0, 1, 2}
	if pattern == raw.RGB || pattern == raw.BGR {
		l.Planes = 3
	}
	if pattern == raw.BGR {
		order = []int{2, 1, 0}
	}
	l.Stride = int64(2 * l.Planes * sceneW * sceneH)
	var b []byte
	for k, s := range shift {
		for y := range sceneH {
			for x := range sceneW {
				channels := order
				if l.Planes == 1 {
					channels = []int{siteChannels(pattern)[y&1][x&1]}
				}
				dx, dy := bend(k, frames, float64(x), float64(y))
				for _, ch := range channels {
					u := uint16(math.Round(65535 * tint[ch] * ground(float64(x)-s[0]-dx-prism[ch][0], float64(y)-s[1]-dy-prism[ch][1])))
					b = append(b, byte(u), byte(u>>8))
				}
			}
		}
	}
	return b, clipIndex{Layout: l, Frames: frames, White: 65535}, tab
}

// Every kind of colour clip gives red, green and blue in this order, with the air's prism undone, at any scale.
func TestColoursOfEveryKindOfClip(t *testing.T) {
	for _, c := range []struct {
		pattern string
		scale   float64
	}{
		{raw.RGB, 1}, {raw.BGR, 1}, {raw.BGR, 1.5}, {raw.RGGB, 1}, {raw.GBRG, 1.5}, {raw.BGGR, 2},
	} {
		f, idx, tab := colourFilm(c.pattern)
		r, pt := stackFilm(t, 2, f, idx, tab, meanSettings{Keep: "1", Scale: c.scale}, false)
		img := r.Plane("image")
		if len(img.Pix) != 3 || pt.Scale != c.scale || math.Abs(float64(img.W)-c.scale*sceneW) > 6*c.scale {
			t.Fatalf("%s at %g: %d channels, %d px wide, panel %+v", c.pattern, c.scale, len(img.Pix), img.W, pt)
		}
		for ch, pix := range img.Pix {
			var sum, n float64
			edge := int(12 * c.scale)
			for y := edge; y < img.H-edge; y++ {
				for x := edge; x < img.W-edge; x++ {
					u, v := (float64(x)+0.5)/c.scale-0.5+float64(pt.ReferenceX), (float64(y)+0.5)/c.scale-0.5+float64(pt.ReferenceY)
					d := float64(pix[y*img.W+x])/tint[ch] - ground(u, v)
					sum, n = sum+d*d, n+1
				}
			}
			// With red left where the prism puts it the error is 0.009, with blue 0.006.
			if rms := math.Sqrt(sum / n); rms > 0.0006 {
				t.Errorf("%s at %g, channel %d: rms error %.5f of white, at most 0.0006 is due", c.pattern, c.scale, ch, rms)
			}
		}
	}
}
