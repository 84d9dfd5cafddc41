package stacks

import (
	"math"

	"plenilune/steps/kernel/frc"
)

// spectrumTable is how strong the detail of a stack is by scale, as two halves of its frames agree on it: without their
// noise, which they do not share.
type spectrumTable struct {
	Bands []bandPower `json:"bands"` // from the broadest to the finest, those that any ring lies in
}

// bandPower is what lies between two frequencies.
type bandPower struct {
	Frequency   float64 `json:"cycles_per_px"` // of its middle; pixels of the stack
	Power       float64 `json:"power"`         // mean product of the halves' spectra
	Correlation float64 `json:"correlation"`   // of the halves, 0…1
	Samples     float64 `json:"samples"`
}

const (
	broadestBand   = 0.03 // cycles a pixel; broader detail is the fall of light
	bandsPerOctave = 4
	mostBands      = 4 * bandsPerOctave // up to 0.48
)

// spectrumOf gathers rings into bands of even width on a scale of octaves.
func spectrumOf(c frc.Curve) (t spectrumTable) {
	width := math.Sqrt(math.Sqrt(2))
	lo := broadestBand
	for range mostBands {
		hi := lo * width
		var b bandPower
		for _, r := range c {
			if r.Frequency >= lo && r.Frequency < hi {
				b.Frequency += float64(r.Samples * r.Frequency)
				b.Power += float64(r.Samples * r.Power)
				b.Correlation += float64(r.Samples * r.Correlation)
				b.Samples += r.Samples
			}
		}
		if n := b.Samples; n > 0 {
			t.Bands = append(t.Bands, bandPower{b.Frequency / n, b.Power / n, b.Correlation / n, n})
		}
		lo = hi
	}
	return t
}
