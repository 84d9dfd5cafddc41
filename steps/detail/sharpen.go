package detail

import (
	"context"
	"image"

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
// the limb. It holds three planes of the picture's size, and reads the picture again rather than keep it meanwhile.
func sharpen(ctx context.Context, s deconvolveSettings, t *pipeline.Task) error {
	p, err := readPlacement(t)
	if err != nil {
		return err
	}
	d, err := readUnblur(ctx, t, p.NoiseSigma)
	if err != nil {
		return err
	}
	spread, err := spreadToUndo(s, p, t)
	if err != nil {
		return err
	}
	n := d.iterate(ctx, t, spread, s.Iterations)
	t.Fact("iterations", float64(n), "steps")
	gain, err := d.quiet(ctx, t, spread, n)
	if err != nil {
		return err
	}
	img, err := openPicture(t)
	if err != nil {
		return err
	}
	defer img.Close()
	var beside *wings // nothing, where nothing was gained
	if n > 0 {
		if beside, err = d.wings(ctx, t, img, gain); err != nil {
			return err
		}
	}
	_, _, channels := img.Size()
	ports := []pipeline.PlanePort{{Name: "image", Channels: channels}, {Name: "beyond", Channels: 1}}
	return t.WritePlanes(ctx, d.w, d.h, ports, func(r image.Rectangle, dst [][][]float32) error {
		if err := readTile(img, r, dst[0]); err != nil {
			return err
		}
		own := cut(gain, d.w, r)
		if beside != nil {
			beside.dim(own, sum(luminance(dst[0]), own), dst[1][0], r)
		}
		addLuminance(dst[0], own, float32(0.02*d.bright))
		return nil
	})
}

// wings looks for the light beyond the limb in the picture with its gain. Nothing else can be done afterwards.
func (u *unblur) wings(ctx context.Context, t *pipeline.Task, img *pipeline.PlaneReader, gain []float32) (*wings, error) {
	sharp := u.data // has served
	u.data = nil
	if err := eachTile(ctx, t, img, func(r image.Rectangle, lum []float32) {
		paste(sharp, u.w, r, sum(lum, cut(gain, u.w, r)))
	}); err != nil {
		return nil, err
	}
	return findWings(sharp, u.w, u.h), nil
}

// sum returns a and b added up.
func sum(a, b []float32) []float32 {
	out := make([]float32, len(a))
	for i, v := range a {
		out[i] = v + b[i]
	}
	return out
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
