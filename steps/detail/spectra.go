package detail

import (
	"math"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/kernel/deconvolve"
	"plenilune/steps/kernel/portable"
)

// spectrumTable is how strong the detail of one panel is by scale, as two halves of its
// frames agree on it.
type spectrumTable struct {
	Bands []struct {
		Frequency   float64 `json:"cycles_per_px"`
		Power       float64 `json:"power"`
		Correlation float64 `json:"correlation"`
		Samples     float64 `json:"samples"`
	} `json:"bands"`
}

const (
	alikeLeast = 0.5  // correlation of two halves; finer detail is half noise
	cutoffMost = 0.85 // share of the optics' cutoff; finer detail is what they were taken for
)

// readSpectra reads what is known of a picture's panels, or of its own stack.
func readSpectra(t *pipeline.Task) (all []spectrumTable, err error) {
	switch {
	case t.Has("spectra"):
		err = t.One("spectra").Table(&all)
	case t.Has("spectrum"):
		all = make([]spectrumTable, 1)
		err = t.One("spectrum").Table(&all[0])
	}
	return all, err
}

// usable is how many of a panel's bands, from the broadest on, tell of the blur.
func (s spectrumTable) usable(tel deconvolve.Telescope) int {
	for i, b := range s.Bands {
		if !(b.Power > 0) || b.Correlation < alikeLeast || b.Frequency > float64(cutoffMost*tel.Cutoff) {
			return i
		}
	}
	return len(s.Bands)
}

// alike returns the panels that have as many usable bands as half of them at least
// have, of the commonest kind, cut to these.
func alike(all []spectrumTable, tel deconvolve.Telescope) (out []spectrumTable) {
	var n []int
	for _, s := range all {
		if k := s.usable(tel); k > 0 {
			n = append(n, k)
		}
	}
	if len(n) == 0 {
		return nil
	}
	slices.Sort(n)
	bands := n[len(n)/2]
	for _, s := range all {
		// A smaller panel has its bands elsewhere.
		if s.usable(tel) >= bands && (len(out) == 0 || math.Abs(s.Bands[0].Frequency/out[0].Bands[0].Frequency-1) < 0.05) {
			out = append(out, spectrumTable{s.Bands[:bands]})
		}
	}
	return out
}

// powers is the mean of the panels' logarithms, every groups-th one from without on left
// out, each panel counted from its own mean; how they differ says how certain it is.
func powers(panels []spectrumTable, groups, without int) []deconvolve.Power {
	out := make([]deconvolve.Power, len(panels[0].Bands))
	samples := make([]float64, len(out))
	n := 0.0
	for i, s := range panels {
		if without >= 0 && i%groups == without {
			continue
		}
		mean := 0.0
		for _, b := range s.Bands {
			mean += portable.Log(b.Power) / float64(len(out))
		}
		for k, b := range s.Bands {
			v := portable.Log(b.Power) - mean
			out[k].Frequency += b.Frequency
			out[k].Log += v
			out[k].Variance += float64(v * v)
			samples[k] += b.Samples
		}
		n++
	}
	for k := range out {
		p := &out[k]
		p.Frequency /= n
		p.Log /= n
		// Of the power in m samples, half of which are conjugates, the logarithm scatters by √(2/m).
		p.Variance = max(p.Variance/n-square(p.Log), 0)/max(n-1, 1) + 2/samples[k]
	}
	return out
}

// bySpectra tells the blur from the power of the detail that halves of the frames
// agree on, optics being known to a share: full width at half maximum in pixels, and its
// standard deviation. ok is false where too little is known.
func bySpectra(all []spectrumTable, tel deconvolve.Telescope, within float64, usual deconvolve.Spread) (fwhm, sigma float64, ok bool) {
	panels := alike(all, tel)
	if len(panels) == 0 {
		return 0, 0, false
	}
	whole := powers(panels, 1, -1)
	fit := deconvolve.NewPowerFit(tel, usual)
	fwhm, sigma, err := fit.Fit(whole)
	if err != nil {
		return 0, 0, false
	}
	var sum, squares float64
	groups := min(jackknives, len(panels))
	for g := range groups {
		if groups < 2 {
			break
		}
		v, _, err := fit.Fit(powers(panels, groups, g))
		if err != nil {
			return 0, 0, false
		}
		sum += v
		squares += square(v)
	}
	n := float64(groups)
	parts := square(sigma) + max(0, float64((n-1)*(squares/n-square(sum/n))))
	if within > 0 {
		var width [2]float64
		for i, k := range []float64{1 - within, 1 + within} {
			other := tel
			other.Cutoff *= k
			if width[i], _, err = deconvolve.NewPowerFit(other, usual).Fit(whole); err != nil {
				return 0, 0, false
			}
		}
		parts += square((width[0] - width[1]) / 2)
	}
	return fwhm, math.Sqrt(parts), true
}
