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

// sharpen takes the blur out of the luminance of a picture, and leaves the noise; and tells which light a print should leave out beyond
// the limb. It holds five planes of the picture's size, and reads the picture again rather than keep it meanwhile.
func sharpen(ctx context.Context, s deconvolveSettings, t *pipeline.Task) error {
	d, p, err := readUnblur(t)
	if err != nil {
		return err
	}
	spread, err := spreadToUndo(s, p, t)
	if err != nil {
		return err
	}
	n := d.iterate(ctx, t, spread, s.Iterations)
	t.Fact("iterations", float64(n), "steps")
	rel, err := readRelative(t)
	if err != nil {
		return err
	}
	gain, err := d.quiet(ctx, t, spread, n, rel)
	if err != nil {
		return err
	}
	if err := d.putBeyond(ctx, t, gain, n > 0); err != nil {
		return err
	}
	img, _, err := readPicture(t)
	if err != nil {
		return err
	}
	addLuminance(img.Pix, gain, float32(0.02*d.bright))
	return t.PutPlane(ctx, "image", img.W, img.H, img.Pix...)
}

// putBeyond tells which light a print should leave out beyond the limb, and takes off what of the gain there is the air's, where something was gained.
func (u *unblur) putBeyond(ctx context.Context, t *pipeline.Task, gain []float32, gained bool) error {
	if !gained {
		return t.PutPlane(ctx, "beyond", u.w, u.h, make([]float32, u.w*u.h))
	}
	img, _, err := readPicture(t)
	if err != nil {
		return err
	}
	after := u.data // has served
	for i, v := range img.Luminance() {
		after[i] = v + gain[i]
	}
	return t.PutPlane(ctx, "beyond", u.w, u.h, dimWings(gain, after, u.w, u.h))
}

// readUnblur begins with the luminance of the picture.
func readUnblur(t *pipeline.Task) (*unblur, placement, error) {
	img, p, err := readPicture(t)
	if err != nil {
		return nil, p, err
	}
	d := newUnblur(img.Luminance(), img.W, img.H, p.NoiseSigma)
	if !finite(d.bright) {
		return nil, p, errNoData
	}
	return d, p, nil
}

// readRelative is weightsAgainst the luminance of the picture.
func readRelative(t *pipeline.Task) ([]float32, error) {
	img, _, err := readPicture(t)
	if err != nil {
		return nil, err
	}
	return weightsAgainst(t, img.Luminance())
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
