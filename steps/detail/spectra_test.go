package detail

import (
	"encoding/json"
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/kernel/deconvolve"
)

// panelsSeen are the spectra of n panels of a scene whose power falls as f^-1.5, seen
// through optics and the usual blur with another share of the halo.
func panelsSeen(t *testing.T, n int, tel deconvolve.Telescope, halo float64) (all []spectrumTable) {
	s := usualSpread
	s.Halo = halo
	type band struct {
		F float64 `json:"cycles_per_px"`
		P float64 `json:"power"`
		C float64 `json:"correlation"`
		N float64 `json:"samples"`
	}
	for i := range n {
		var table struct {
			Bands []band `json:"bands"`
		}
		for k := range 15 {
			f := 0.033 * math.Pow(2, float64(k)/4)
			p := math.Pow(f, -1.5) * tel.Transfer(f) * s.Transfer(f)
			table.Bands = append(table.Bands, band{f, p * p / math.Pow(f, -1.5) * float64(i+1), 0.95, 1e4})
		}
		b, err := json.Marshal(table)
		if err != nil {
			t.Fatal(err)
		}
		var one spectrumTable
		if err := json.Unmarshal(b, &one); err != nil {
			t.Fatal(err)
		}
		all = append(all, one)
	}
	return all
}

func TestSpectraTellWiderFromNarrower(t *testing.T) {
	tel := deconvolve.Telescope{Cutoff: 0.5, Obstruction: 0.3}
	last := 0.0
	for _, halo := range []float64{0.1, 0.4, 0.8} {
		all := panelsSeen(t, 6, tel, halo)
		got, sigma, ok := bySpectra(all, tel, 0, usualSpread)
		if !ok || got <= last || sigma <= 0 {
			t.Errorf("share %v: %v ± %v px, %v", halo, got, sigma, ok)
		}
		last = got
	}
	// Optics that are not known exactly leave it less certain; halves that do not agree leave nothing.
	all := panelsSeen(t, 6, tel, 0.4)
	_, exact, _ := bySpectra(all, tel, 0, usualSpread)
	if _, sigma, ok := bySpectra(all, tel, 0.05, usualSpread); !ok || sigma <= exact {
		t.Errorf("optics known to 5 %%: ± %v px, %v, known: ± %v px", sigma, ok, exact)
	}
	for i := range all {
		all[i].Bands[2].Correlation = 0.2
	}
	if _, _, ok := bySpectra(all, tel, 0, usualSpread); ok {
		t.Error("noise is taken for detail")
	}
	if _, _, ok := bySpectra(nil, tel, 0, usualSpread); ok {
		t.Error("a blur out of nothing")
	}
}

func TestMeasurementsAreWeighed(t *testing.T) {
	tel := deconvolve.Typical()
	b := seen{Spread: usualSpread, FWHMPx: tel.FWHM(usualSpread), SigmaPx: 0.1}
	got := b.joined(tel, b.FWHMPx+0.2, 0.2)
	// Weights of 100 and 25: a fifth of the way, and 1/√125.
	if math.Abs(got.FWHMPx-b.FWHMPx-0.04) > 1e-9 || math.Abs(got.SigmaPx-1/math.Sqrt(125)) > 1e-9 {
		t.Errorf("%+v", got)
	}
	if w := tel.FWHM(got.Spread); math.Abs(w-got.FWHMPx) > 1e-3 {
		t.Errorf("the spread is %v px wide, told %v px", w, got.FWHMPx)
	}
}

// Beside a very soft limb, sharp detail is not believed without a word.
func TestLimbAndSpectraThatDisagreeAreSaid(t *testing.T) {
	p := pipeline.Part{Name: "blur", Settings: opticsSettings{}, Out: []string{"blur"}, Run: pipeline.Bind(blur)}
	all := panelsSeen(t, 9, deconvolve.Telescope{Cutoff: 0.5, Obstruction: 0.3}, 0.2)
	for _, c := range []struct {
		sigma float64
		want  bool
	}{{0.9, false}, {2.5, true}} {
		m := disk(401, 150, c.sigma)
		r, err := pipelinetest.New().Run(t, p, map[string][]any{"image": {pipelinetest.Plane{W: 401, H: 401, Pix: m.Pix}}, "spectra": {all}})
		if err != nil {
			t.Fatal(err)
		}
		if r.Warned("blur-doubtful") != c.want {
			t.Errorf("a limb of σ = %v px: %v, %v", c.sigma, r.Facts, r.Warnings)
		}
	}
}
