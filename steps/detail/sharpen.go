package detail

import (
	"context"
	"fmt"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
)

// deconvolveSettings is a deconvolve block. Zeros stand for what is measured.
type deconvolveSettings struct {
	Iterations int     `json:"iterations"`
	FWHMPx     float64 `json:"fwhm_px"`
	FWHMArcsec float64 `json:"fwhm_arcsec"`
}

// sharpen takes the blur out of the luminance of a picture, and leaves the noise; and
// tells which light a print should leave out beyond the limb. It holds ten planes of the picture's size.
func sharpen(ctx context.Context, s deconvolveSettings, t *pipeline.Task) error {
	img, p, err := readPicture(t)
	if err != nil {
		return err
	}
	spread, err := spreadToUndo(s, p, t)
	if err != nil {
		return err
	}
	lum := img.Luminance()
	d := newUnblur(lum, img.W, img.H, p.NoiseSigma)
	if !finite(d.bright) {
		return errNoData
	}
	n := d.iterate(ctx, t, spread, s.Iterations)
	t.Fact("iterations", float64(n), "steps")
	rel, err := weightsAgainst(t, lum)
	if err != nil {
		return err
	}
	gain, err := d.quiet(ctx, t, spread, n, rel)
	if err != nil {
		return err
	}
	after := d.data // has served
	for i, v := range lum {
		after[i] = v + gain[i]
	}
	dim := make([]float32, len(after))
	if n > 0 {
		dim = dimWings(gain, after, img.W, img.H)
	}
	if err := t.PutPlane(ctx, "beyond", img.W, img.H, dim); err != nil {
		return err
	}
	addLuminance(img.Pix, gain, float32(0.02*d.bright))
	return t.PutPlane(ctx, "image", img.W, img.H, img.Pix...)
}

// spreadToUndo is the blur given, or the one measured.
func spreadToUndo(s deconvolveSettings, p placement, t *pipeline.Task) (deconvolve.Spread, error) {
	fwhm := s.FWHMPx
	if s.FWHMArcsec > 0 {
		if p.ScaleArcsecPerPx == 0 {
			t.Warn("scale-unknown", "nothing is deconvolved: blur_fwhm_arcsec is in arcseconds and this picture's scale is not known "+
				"(no limb to measure it from, no optics in the night block); give blur_fwhm_px, or state pixel_um and focal_length_mm")
			return deconvolve.Spread{}, nil
		}
		fwhm = s.FWHMArcsec / p.ScaleArcsecPerPx
	}
	if fwhm > 0 {
		return deconvolve.Spread{CoreSigma: fwhm / sigmaToFWHM}, nil
	}
	var b seen
	err := t.One("blur").Table(&b)
	return b.Spread, err
}

// weightsAgainst returns each pixel's noise variance against that at the median
// weight; nil without weights.
func weightsAgainst(t *pipeline.Task, lum []float32) ([]float32, error) {
	typical, err := weightMedian(t, lum)
	if err != nil || typical == 0 {
		return nil, err
	}
	m, err := readPlane(t.One("weight"))
	if err != nil {
		return nil, fmt.Errorf("read the weights: %w", err)
	}
	relative(m.Pix[0], float32(typical))
	return m.Pix[0], nil
}
