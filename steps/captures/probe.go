package captures

import "plenilune/pipeline"

// Probe reads a capture's header and some of its samples, as the part index does
// with every setting at its default.
func Probe(f pipeline.File) (Index, error) {
	c, err := look(f, partSettings{ByteOrder: "auto", Timed: true, Bayer: bayerAuto})
	if err != nil {
		return Index{}, err
	}
	return c.index(), nil
}
