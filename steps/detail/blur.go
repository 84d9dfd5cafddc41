package detail

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/robust"
)

// opticsSettings is what the night says of the telescope; zero is unknown.
type opticsSettings struct {
	ApertureMM  float64 `json:"aperture_mm"`
	Obstruction float64 `json:"obstruction"`
}

// lightTable is what is stated of a picture's light.
type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"` // 0 unknown
}

// seen is the blur that a picture was found to have.
type seen struct {
	Measured bool              `json:"measured"` // false: Spread is what is usual
	Spread   deconvolve.Spread `json:"spread"`   // of the air alone
	FWHMPx   float64           `json:"fwhm_px"`  // of air, optics and pixels together
	SigmaPx  float64           `json:"sigma_px"` // how uncertain FWHMPx is, one standard deviation
	Places   int               `json:"places"`   // how many places of the limb it rests on
}

// joined weighs the blur's width with another measurement of it, each by its inverse
// variance. A blur that was only usual is given that width, by its halo's share; the
// shape that a limb has told is left alone: it says more of it than the width does.
func (b seen) joined(tel deconvolve.Telescope, fwhm, sigma float64) seen {
	own, other := 1/square(max(b.SigmaPx, leastSigma)), 1/square(sigma)
	b.FWHMPx = (float64(own*b.FWHMPx) + float64(other*fwhm)) / (own + other)
	b.SigmaPx = math.Sqrt(1 / (own + other))
	if b.Measured {
		return b
	}
	lo, hi := 0.0, 1.0
	for range 20 {
		b.Spread.Halo = (lo + hi) / 2
		if tel.FWHM(b.Spread) < b.FWHMPx {
			lo = b.Spread.Halo
		} else {
			hi = b.Spread.Halo
		}
	}
	return b
}

// usualSpread, in pixels of the sensor, is taken where a picture shows no limb: a
// little less blur than a mean of the better frames commonly has, so that nothing is
// overdone (found on simulated nights at a ratio of aperture to Fried's parameter of
// about 3).
var usualSpread = deconvolve.Spread{Halo: 0.4, CoreSigma: 0.33, HaloSigma: 2.15}

// usualScatter is by what share blurs differ in width from the usual one, one standard
// deviation (simulated nights at ratios of aperture to Fried's parameter of 3 to 5).
const usualScatter = 0.05

// leastSigma, in pixels: no width is known better.
const leastSigma = 1e-3

const (
	fewestPlaces = 6     // of the limb; fewer may all lie in one bad spot
	greenMM      = 55e-5 // wavelength, the middle of what cameras see
	jackknives   = 8
)

// blur tells the blur of a picture: from the lit limb, or what is usual where none is in
// view, and from the spectra of the panels' halves.
func blur(ctx context.Context, o opticsSettings, t *pipeline.Task) error {
	p, err := readPlacement(t)
	if err != nil {
		return err
	}
	var light lightTable
	if t.Has("light") {
		if err := t.One("light").Table(&light); err != nil {
			return err
		}
	}
	spectra, err := readSpectra(t)
	if err != nil {
		return err
	}
	tel, stated := telescope(o, p, light)
	lum, w, h, err := readLuminance(ctx, t)
	if err != nil {
		return err
	}
	places := limbEdges(lum, w, h)
	edges := profilesOf(places)
	within := 0.0
	if !stated {
		tel, within = opticsSeen(middle(edges, -1), tel)
	}
	b, noLimb := measureBlur(edges, tel)
	if noLimb == nil && within > 0 {
		b.SigmaPx = math.Sqrt(square(b.SigmaPx) + square(ofOptics(middle(edges, -1), tel, within)))
	}
	usual := usualSpread.Times(cmp.Or(p.Fineness, 1))
	if noLimb != nil {
		b = seen{Spread: usual, FWHMPx: tel.FWHM(usual)}
		b.SigmaPx = usualScatter * b.FWHMPx
	}
	if fwhm, sigma, ok := bySpectra(spectra, tel, within, usual); ok {
		tellSpectra(t, b, fwhm, sigma)
		if b.Measured || sigma < b.SigmaPx {
			b = b.joined(tel, fwhm, sigma)
		}
	}
	if noLimb != nil {
		t.Warn("blur-assumed", "the blur cannot be measured here (%v): a usual one is taken out, core and halo together %.1f px wide; "+
			"give blur_fwhm_px in deconvolve if you know better", noLimb, b.FWHMPx)
	} else {
		tellBlur(t, b, p, tel)
		tellSides(t, places, tel, b)
	}
	return t.PutTable("blur", b)
}

// tellBlur says what blur was measured.
func tellBlur(t *pipeline.Task, b seen, p placement, tel deconvolve.Telescope) {
	t.Fact("blur_fwhm", b.FWHMPx, "px")
	t.Fact("blur_fwhm_uncertainty", b.SigmaPx, "px")
	if s := p.ScaleArcsecPerPx; s > 0 {
		t.Fact("blur_fwhm_on_the_sky", float64(b.FWHMPx*s), "arcsec")
		t.Fact("blur_fwhm_on_the_sky_uncertainty", float64(b.SigmaPx*s), "arcsec")
	}
	t.Fact("blur_core_fwhm", sigmaToFWHM*b.Spread.CoreSigma, "px")
	t.Fact("blur_halo_share", 100*b.Spread.Halo, "%")
	t.Fact("blur_halo_fwhm", sigmaToFWHM*b.Spread.HaloSigma, "px")
	t.Fact("optics_cutoff", tel.Cutoff, "cycles/px")
	t.Fact("blur_places", float64(b.Places), "places of the limb")
}

// tellSpectra says what blur the panels' spectra show, and if it is not that of the limb.
func tellSpectra(t *pipeline.Task, b seen, fwhm, sigma float64) {
	t.Fact("blur_fwhm_by_spectra", fwhm, "px")
	t.Fact("blur_fwhm_by_spectra_uncertainty", sigma, "px")
	if !b.Measured {
		return
	}
	t.Fact("blur_fwhm_by_limb", b.FWHMPx, "px")
	t.Fact("blur_fwhm_by_limb_uncertainty", b.SigmaPx, "px")
	if off := math.Abs(fwhm - b.FWHMPx); off > 3*math.Sqrt(square(sigma)+square(b.SigmaPx)) {
		t.Warn("blur-doubtful", "the blur is %.2f ± %.2f px wide at the limb and %.2f ± %.2f px by the detail that halves of the frames agree on: "+
			"look at the limb for ripples, and give blur_fwhm_px in deconvolve if you know better", b.FWHMPx, b.SigmaPx, fwhm, sigma)
	}
}

// unevenBlur is how much wider the blur of one side of the disk may be than that of
// another before the user should know: panels were sharpened against each other by
// then, and what is left differs by a tenth.
const unevenBlur = 1.3

// tellSides says how the blur differs from one side of the disk to another.
func tellSides(t *pipeline.Task, places []limbPlace, tel deconvolve.Telescope, b seen) {
	least, most, ok := bySide(places, tel)
	if !ok {
		return
	}
	t.Fact("blur_fwhm_least", least.fwhmPx, "px")
	t.FactText("blur_least_at", sideNames[least.side])
	t.Fact("blur_fwhm_most", most.fwhmPx, "px")
	t.FactText("blur_most_at", sideNames[most.side])
	if most.fwhmPx > float64(unevenBlur*least.fwhmPx) {
		t.Warn("blur-uneven", "the blur is %.1f px wide at the limb on the %s and %.1f px on the %s; %.1f px are taken out everywhere: "+
			"panels of the softer side may be worth another take", least.fwhmPx, sideNames[least.side], most.fwhmPx, sideNames[most.side], b.FWHMPx)
	}
}

func profilesOf(places []limbPlace) []deconvolve.Profile {
	out := make([]deconvolve.Profile, len(places))
	for i, p := range places {
		out[i] = p.profile
	}
	return out
}

// sigmaToFWHM is the full width at half maximum of a Gaussian of σ = 1: 2√(2 ln 2).
const sigmaToFWHM = 2.3548200450309493

var errFewEdges = errors.New("too little of the lit limb is in view")

// measureBlur fits the middle one of the profiles, bin by bin, and tells from how
// the fit changes when an eighth of them is left out how certain it is (the
// delete-group jackknife of Quenouille 1949 and Tukey 1958).
func measureBlur(edges []deconvolve.Profile, tel deconvolve.Telescope) (b seen, err error) {
	if len(edges) < fewestPlaces {
		return b, errFewEdges
	}
	b.Spread, _, err = deconvolve.FitEdge(middle(edges, -1), tel)
	if err != nil {
		return b, err
	}
	b.Measured, b.Places, b.FWHMPx = true, len(edges), tel.FWHM(b.Spread)
	groups := min(jackknives, len(edges))
	var sum, squares float64
	for g := range groups {
		s, _, err := deconvolve.FitEdge(middle(edges, g), tel)
		if err != nil {
			return b, fmt.Errorf("its places do not agree: %w", err)
		}
		v := tel.FWHM(s)
		sum += v
		squares += square(v)
	}
	n := float64(groups)
	b.SigmaPx = math.Sqrt(max(0, float64((n-1)*(squares/n-float64(sum/n*sum/n)))))
	return b, nil
}

// middle is the median profile, every jackknives-th one from without on left out.
func middle(edges []deconvolve.Profile, without int) (p deconvolve.Profile) {
	v := make([]float64, 0, len(edges))
	for i := range p {
		v = v[:0]
		for k, e := range edges {
			if without < 0 || k%jackknives != without {
				v = append(v, e[i])
			}
		}
		p[i] = robust.Median(v)
	}
	return p
}
