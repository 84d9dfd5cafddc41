package avi

import (
	"testing"

	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
)

func FuzzOpen(f *testing.F) {
	for _, o := range []formattest.AVIOptions{{}, {Code: "Y800", Sound: 2, Dropped: 2}, {Code: "Y16 "}, {OpenDML: 2}, {Code: "GBRG", NoIndex: true, Unfinished: true}, {NoPalette: true, TopDown: true, FromFile: true}} {
		bits := 8
		if o.Code == "Y16 " {
			bits = 16
		}
		f.Add(written(f, formattest.Scene(4, 3, 4, bits, raw.Mono), o))
	}
	f.Add(written(f, formattest.Scene(3, 2, 3, 8, raw.RGB), formattest.AVIOptions{OpenDML: 1}))
	f.Fuzz(func(t *testing.T, b []byte) { formattest.Stranger(t, b, Open) })
}
