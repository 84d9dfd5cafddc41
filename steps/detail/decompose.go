package detail

import (
	"context"
	"errors"
	"fmt"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
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
// It holds eight planes of the picture's size at a time, one more a channel.
func decompose(ctx context.Context, t *pipeline.Task) error {
	img, err := readPlane(t.One("image"))
	if err != nil {
		return fmt.Errorf("read the picture: %w", err)
	}
	w, h, lum := img.W, img.H, img.Luminance()
	var about apart
	if about.WeightMedian, err = weightMedian(t, lum); err != nil {
		return err
	}
	g := findGround(lum, w, h)
	about.LimbEdgePx, about.LimbSigmaPx, about.Sky, about.Bright = g.edgePx, g.sigmaPx, g.sky, g.bright
	whole, guard := g.carry(ctx, t, lum, w, h)
	trust := guard[0]
	t.Progress(0.3)
	if err := t.PutPlane(ctx, "guard", w, h, guard...); err != nil {
		return err
	}
	limit := float32(g.sky + float64(0.1*(g.bright-g.sky)))
	smooth, level := make([]float32, w*h), make([]float32, w*h)
	for j := range levels {
		if err := smoothBands(ctx, t, smooth, whole, w, h, 1<<j); err != nil {
			return err
		}
		for i, s := range smooth {
			level[i] = whole[i] - s
		}
		if err := t.PutPlane(ctx, levelPort(j), w, h, level); err != nil {
			return err
		}
		if j == 0 {
			about.NoiseSigma = noiseSigma(level, w, h,
				func(i int) bool { return trust[i] == 1 && lum[i] == lum[i] },
				func(i int) bool { return smooth[i] > limit })
		}
		whole, smooth = smooth, whole
		t.Progress(0.3 + float64(0.7*float64(j+1)/levels))
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

func finite(v float64) bool { return v-v == 0 }

func readPlane(s pipeline.Source) (*plane.Image, error) {
	w, h, pix, err := s.Pixels()
	if err != nil {
		return nil, err
	}
	return plane.Of(w, h, pix...), nil
}

// readPicture reads a part's picture and what is known of it.
func readPicture(t *pipeline.Task) (*plane.Image, placement, error) {
	img, err := readPlane(t.One("image"))
	if err != nil {
		return nil, placement{}, fmt.Errorf("read the picture: %w", err)
	}
	p, err := readPlacement(t)
	return img, p, err
}

// carry returns the picture with the ground carried on over sky and gaps, and
// the three channels of the guard: how far detail may be used (0…1), how far the
// limb's edge may be steepened (0…1), and there how far the ground carried on
// lies above the sky.
func (g *ground) carry(ctx context.Context, t *pipeline.Task, lum []float32, w, h int) (whole []float32, guard [][]float32) {
	whole = make([]float32, w*h)
	guard = [][]float32{make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)}
	_ = t.Each(ctx, h, func(y int) error {
		for x := range w {
			i := y*w + x
			keep, fill, rim := g.at(x, y)
			switch v := lum[i]; {
			case v != v:
				whole[i] = fill
			case keep >= 1:
				whole[i], guard[0][i] = v, 1
			default:
				whole[i], guard[0][i] = float32(keep*v)+float32((1-keep)*fill), keep
				if rim > 0 {
					guard[1][i], guard[2][i] = rim, fill-float32(g.sky)
				}
			}
		}
		return nil
	})
	return whole, guard
}

func weightMedian(t *pipeline.Task, lum []float32) (float64, error) {
	if !t.Has("weight") {
		return 0, nil
	}
	m, err := readPlane(t.One("weight"))
	if err != nil {
		return 0, fmt.Errorf("read the weights: %w", err)
	}
	if len(m.Pix[0]) != len(lum) {
		return 0, fmt.Errorf("the weights are %d×%d px, not of the picture's size", m.W, m.H)
	}
	var there []float32
	for i, v := range lum {
		if k := m.Pix[0][i]; v == v && k > 0 {
			there = append(there, k)
		}
	}
	if len(there) == 0 {
		return 0, nil
	}
	return robust.Median(there), nil
}

// smoothBands is wavelet.Smooth in bands of rows, several at once.
func smoothBands(ctx context.Context, t *pipeline.Task, dst, src []float32, w, h, step int) error {
	return inBands(ctx, t, h, step, func(y0, y1, a, b int) {
		out, tmp := make([]float32, (b-a)*w), make([]float32, (b-a)*w)
		wavelet.Smooth(out, src[a*w:b*w], tmp, w, b-a, step)
		copy(dst[y0*w:y1*w], out[(y0-a)*w:(y1-a)*w])
	})
}

// inBands gives fn bands of rows, y0 to y1, several at once. A band has as many rows more, a to b, as taps step pixels apart reach, so
// that its own come out as in one piece.
func inBands(ctx context.Context, t *pipeline.Task, h, step int, fn func(y0, y1, a, b int)) error {
	rows := max(128, 4*step)
	return t.Each(ctx, (h+rows-1)/rows, func(k int) error {
		y0, y1 := k*rows, min((k+1)*rows, h)
		fn(y0, y1, max(0, y0-2*step), min(h, y1+2*step))
		return nil
	})
}
