package fits_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"plenilune/steps/format/raw"
)

// all gives the samples of all frames as little-endian float32.
func all(t *testing.T, b []byte, c *raw.Clip) (out []byte) {
	t.Helper()
	r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), c.Layout)
	if err != nil {
		t.Fatal(err)
	}
	dst := [][]float32{make([]float32, c.Layout.Width*c.Layout.Height)}
	for i := range c.Frames {
		if err := r.Frame(i, 1, dst); err != nil {
			t.Fatal(err)
		}
		for _, v := range dst[0] {
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
		}
	}
	return out
}

// single turns little-endian float64 into float32.
func single(b []byte) (out []byte) {
	for ; len(b) > 0; b = b[8:] {
		v := math.Float64frombits(binary.LittleEndian.Uint64(b))
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v)))
	}
	return out
}
