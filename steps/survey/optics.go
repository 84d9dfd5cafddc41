package survey

import (
	"plenilune/pipeline"
	"plenilune/steps/kernel/moon"
	"plenilune/steps/kernel/portable"
)

// arcsecOfRadian is how many arcsec a radian has.
const arcsecOfRadian = 206264.806

// Optics is what telescope and camera can show. Zero is not told for want of a setting.
type Optics struct {
	WavelengthNM   float64
	FocalRatio     float64
	ScaleArcsec    float64 // a pixel
	WidthArcmin    float64 // of the field
	HeightArcmin   float64
	LimitArcsec    float64 // λ/D: the finest period that passes, where ring correlation ends at best
	RayleighArcsec float64 // 1.22 λ/D
	DawesArcsec    float64 // 116 mm/D
	SamplingPx     float64 // pixels to λ/D; 2 keep everything

	KMPerArcsec float64 // on the ground in the middle of the disk
}

// newOptics returns what the night's telescope and camera can show, or nil where nothing of them is stated.
func newOptics(n pipeline.Night, nm float64) *Optics {
	o := &Optics{WavelengthNM: nm, ScaleArcsec: n.ScaleArcsecPerPx()}
	if t := n.Telescope; t != nil && t.ApertureMM > 0 {
		o.LimitArcsec = float64(nm*1e-6) / t.ApertureMM * arcsecOfRadian
		o.RayleighArcsec = 1.2197 * o.LimitArcsec // Born & Wolf, § 8.5: the first dark ring of a clear aperture
		o.DawesArcsec = 115.8 / t.ApertureMM      // Dawes (1867), after double stars
		o.FocalRatio = t.FocalLengthMM / t.ApertureMM
	}
	if o.ScaleArcsec > 0 {
		o.SamplingPx = o.LimitArcsec / o.ScaleArcsec
		o.WidthArcmin = float64(n.Camera.WidthPX) * o.ScaleArcsec / 60
		o.HeightArcmin = float64(n.Camera.HeightPX) * o.ScaleArcsec / 60
	}
	if o.LimitArcsec == 0 && o.ScaleArcsec == 0 {
		return nil
	}
	return o
}

// onMoon tells how much ground an arcsec is.
func (o *Optics) onMoon(distanceKM float64) {
	o.KMPerArcsec = (distanceKM - moon.RadiusKM) / arcsecOfRadian
}

// Odds is how often the air is still.
type Odds struct {
	SeeingArcsec float64 // full width at half maximum of long exposures at the zenith, at 500 nm
	R0CM         float64 // Fried's parameter in the direction and light of the survey
	Ratio        float64 // D/r0
	Good         float64 // share of good frames; 0 if the ratio is too small for the formula
}

// leastRatio is the smallest D/r0 for which Fried's formula holds.
const leastRatio = 3.5

// odds returns, for each seeing, the chance that a short exposure is good, its wavefront within a radian r.m.s. beside tilt: Fried (1978), JOSA
// 68:1651, P ≈ 5.6 exp(−0.1557 (D/r0)²) for D/r0 ≥ 3.5. r0 = 0.976 λ/seeing grows as λ^(6/5) and falls as (air mass)^(3/5) (Roddier 1981,
// Progress in Optics 19).
func odds(n pipeline.Night, how pipeline.Survey, airMass float64) []Odds {
	if n.Telescope == nil || n.Telescope.ApertureMM == 0 {
		return nil
	}
	colour := portable.Pow(how.WavelengthNM/500, 1.2)
	air := portable.Pow(airMass, -0.6)
	var out []Odds
	for _, s := range how.SeeingArcsec {
		o := Odds{SeeingArcsec: s, R0CM: 0.9759 * 500e-7 / s * arcsecOfRadian * colour * air}
		o.Ratio = n.Telescope.ApertureMM / 10 / o.R0CM
		if o.Ratio >= leastRatio {
			o.Good = min(1, 5.6*portable.Exp(-0.1557*float64(o.Ratio*o.Ratio)))
		}
		out = append(out, o)
	}
	return out
}
