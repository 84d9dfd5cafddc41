package fits_test

import (
	"testing"
	"time"

	"plenilune/steps/format/fits"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
)

func FuzzOpen(f *testing.F) {
	film := formattest.Scene(4, 3, 3, 8, raw.RGGB)
	film.Times = []time.Time{time.Unix(1.7e9, 0), time.Unix(1.7e9, 1e8), time.Unix(1.7e9, 2e8)}
	for _, o := range []formattest.FITSOptions{{Bits: 8}, {Bits: 16, TopDown: true}, {Bits: -32, Unit: true}, {Bits: 64}, {Bits: 16, Apart: true}, {Bits: 32, Scale: 0.5, Pictures: true}} {
		b, err := formattest.FITS(film, o)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) { formattest.Stranger(t, b, fits.OpenClip) })
}
