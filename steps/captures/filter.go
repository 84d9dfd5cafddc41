package captures

import (
	"fmt"

	"plenilune/pipeline"
	"plenilune/steps/format/raw"
	"plenilune/steps/kernel/calibrate"
	"plenilune/steps/kernel/plane"
)

// Filter is what light reached the sensor.
type Filter struct {
	// WavelengthNM is the middle of what the filter lets through.
	WavelengthNM float64 `hcl:"wavelength_nm" min:"300" max:"1100"`
}

const (
	bayerAuto   = "auto"   // as the header has it
	bayerIgnore = "ignore" // all sites see the same light
)

// siteFrames is from how many frames, at most, spread over a clip, the sensitivity of the sites is measured.
const siteFrames = 8

// overrule applies the setting for the pattern of colour filters to a capture whose samples are read as the header has it.
func (c *capture) overrule(f pipeline.File, bayer string) error {
	l := &c.layout
	if bayer == bayerAuto || bayer == "" || l.Planes != 1 {
		return nil
	}
	if bayer != bayerIgnore {
		l.Pattern = bayer
		return l.Check()
	}
	l.Pattern = raw.Mono
	r, err := raw.NewReader(f, f.Size(), *l)
	if err != nil {
		return err
	}
	var s calibrate.Sites
	img := plane.New(l.Width, l.Height, 1)
	n := min(c.clip.Frames, siteFrames)
	for k := range n {
		if err := r.Frame((2*k+1)*c.clip.Frames/(2*n), c.level.White, img.Pix); err != nil {
			return fmt.Errorf("look at the sites of the filter: %w", err)
		}
		s.Add(img, calibrate.SaturationLevel)
	}
	c.sites = &siteGains{}
	*c.sites = s.Gains()
	return nil
}

// siteGains are by what samples are multiplied, by site 2·(y&1) + (x&1).
type siteGains = [4]float64
