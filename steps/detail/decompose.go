package detail

import (
	"context"
	"errors"
	"fmt"
	"image"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/robust"
	"plenilune/steps/kernel/wavelet"
)

// errNoData is returned where there is nothing to work on.
var errNoData = errors.New("the picture holds no data at all: look at the warnings of its clips and panels")

// apart is what decompose says of a picture beside its levels.
type apart struct {
	NoiseSigma   float64 `json:"noise_sigma"`   // of a pixel's luminance, linear
	WeightMedian float64 `json:"weight_median"` // of the weights where there is data; 0 without weights
	LimbEdgePx   float64 `json:"limb_edge_px"`  // width of the limb's blurred edge; 0 without a limb
	LimbSigmaPx  float64 `json:"limb_sigma_px"` // standard deviation of the blur seen there; 0 without a limb
	Sky          float64 `json:"sky"`           // level of the darkest parts, linear
	Bright       float64 `json:"bright"`        // level of the brightest ground, linear
}

func levelPort(j int) string { return fmt.Sprintf("level%d", j+1) }

// decomposeOut names decompose's outputs: the table, the guard of the limb (see
// carry), and the levels of the luminance, finest first. What is left after the
// coarsest is not kept: recombination adds to the picture itself.
func decomposeOut() []string {
	out := []string{"apart", "guard"}
	for j := range levels {
		out = append(out, levelPort(j))
	}
	return out
}

// decompose takes the luminance of a picture apart. It depends on no setting.
// It holds two planes of the picture's size at a time, and what findGround does.
func decompose(ctx context.Context, t *pipeline.Task) error {
	whole, w, h, err := readLuminance(ctx, t)
	if err != nil {
		return err
	}
	var about apart
	if about.WeightMedian, err = weightMedian(t, whole); err != nil {
		return err
	}
	g := findGround(whole, w, h)
	about.LimbEdgePx, about.LimbSigmaPx, about.Sky, about.Bright = g.edgePx, g.sigmaPx, g.sky, g.bright
	usable, err := g.surface().carry(ctx, t, whole, w, h)
	if err != nil {
		return err
	}
	t.Progress(0.3)
	if about.NoiseSigma, err = putLevels(ctx, t, whole, w, h, usable, float32(g.sky+float64(0.1*(g.bright-g.sky)))); err != nil {
		return err
	}
	if about.LimbEdgePx > 0 {
		t.Fact("limb_edge", about.LimbEdgePx, "px")
		t.Fact("limb_blur_fwhm", 2.354820*about.LimbSigmaPx, "px")
	}
	if !finite(about.Sky) || !finite(about.Bright) {
		return errNoData
	}
	t.Fact("noise", about.NoiseSigma, "of white")
	return t.PutTable("apart", about)
}

// putLevels stores the levels of a picture, which it overwrites, and returns the noise where it is usable, on what is smoothly above limit.
func putLevels(ctx context.Context, t *pipeline.Task, whole []float32, w, h int, usable []bool, limit float32) (sigma float64, err error) {
	smooth := make([]float32, w*h)
	for j := range levels {
		if err := smoothBands(ctx, t, smooth, whole, w, h, 1<<j); err != nil {
			return 0, err
		}
		if j == 0 {
			sigma = noiseSigma(w, h, func(i int) (float32, bool, bool) { return whole[i] - smooth[i], usable[i], smooth[i] > limit })
		}
		if err := t.WritePlane(ctx, levelPort(j), w, h, 1, func(r image.Rectangle, dst [][]float32) error {
			for y := r.Min.Y; y < r.Max.Y; y++ {
				row, from, to := dst[0][(y-r.Min.Y)*r.Dx():][:r.Dx()], whole[y*w+r.Min.X:], smooth[y*w+r.Min.X:]
				for x := range row {
					row[x] = from[x] - to[x]
				}
			}
			return nil
		}); err != nil {
			return 0, err
		}
		whole, smooth = smooth, whole
		t.Progress(0.3 + float64(0.7*float64(j+1)/levels))
	}
	return sigma, nil
}

func finite(v float64) bool { return v-v == 0 }

// carry stores the three channels of the guard: how far detail may be used (0…1), how far the
// limb's edge may be steepened (0…1), and there how far the ground carried on lies above the sky.
// It carries the ground on, in the picture's luminance, over sky and gaps, and tells which pixels are
// all their own.
func (s *surface) carry(ctx context.Context, t *pipeline.Task, lum []float32, w, h int) (own []bool, err error) {
	own = make([]bool, w*h)
	return own, t.WritePlane(ctx, "guard", w, h, 3, func(r image.Rectangle, guard [][]float32) error {
		k := 0
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x, k = x+1, k+1 {
				i := y*w + x
				keep, fill, rim := s.at(x, y)
				switch v := lum[i]; {
				case v != v:
					lum[i] = fill
				case keep >= 1:
					guard[0][k], own[i] = 1, true
				default:
					lum[i], guard[0][k] = float32(keep*v)+float32((1-keep)*fill), keep
					if rim > 0 {
						guard[1][k], guard[2][k] = rim, fill-float32(s.sky)
					}
				}
			}
		}
		return nil
	})
}

// weightMedian is the middle one of the weights where a picture shows something; 0 without weights.
func weightMedian(t *pipeline.Task, lum []float32) (float64, error) {
	if !t.Has("weight") {
		return 0, nil
	}
	w, h, m, err := t.One("weight").Pixels()
	if err != nil {
		return 0, fmt.Errorf("read the weights: %w", err)
	}
	if len(m[0]) != len(lum) {
		return 0, fmt.Errorf("the weights are %d×%d px, not of the picture's size", w, h)
	}
	there := m[0][:0]
	for i, v := range lum {
		if k := m[0][i]; v == v && k > 0 {
			there = append(there, k)
		}
	}
	if len(there) == 0 {
		return 0, nil
	}
	return robust.Counted(slices.Values(there), 0.5)[0], nil
}

// smoothBands is wavelet.Smooth in bands of rows, several at once.
func smoothBands(ctx context.Context, t *pipeline.Task, dst, src []float32, w, h, step int) error {
	return inBands(ctx, t, h, step, func(y0, y1, a, b int) error {
		out, tmp := make([]float32, (b-a)*w), make([]float32, w)
		wavelet.Smooth(out, src[a*w:b*w], tmp, w, b-a, step)
		copy(dst[y0*w:y1*w], out[(y0-a)*w:(y1-a)*w])
		return nil
	})
}

// inBands gives fn bands of rows, y0 to y1, several at once. A band has as many rows more, a to b, as taps step pixels apart reach, so
// that its own come out as in one piece.
func inBands(ctx context.Context, t *pipeline.Task, h, step int, fn func(y0, y1, a, b int) error) error {
	rows := max(256, 4*step) // those of a tile or more
	return t.Each(ctx, (h+rows-1)/rows, func(k int) error {
		y0, y1 := k*rows, min((k+1)*rows, h)
		return fn(y0, y1, max(0, y0-2*step), min(h, y1+2*step))
	})
}
