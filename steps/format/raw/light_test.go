package raw

import (
	"bytes"
	"math"
	"testing"
)

// lightOf counts the samples of one frame of bytes.
func lightOf(t *testing.T, pix []byte) Light {
	t.Helper()
	l := Layout{Width: len(pix) / 10, Height: 10, Planes: 1, SampleBytes: 1, Pattern: Mono, Stride: int64(len(pix))}
	e, err := Sample(bytes.NewReader(pix), l, 1)
	if err != nil {
		t.Fatal(err)
	}
	return e.Light(false, 255, 0.99)
}

func TestLight(t *testing.T) {
	fill := func(parts ...int) (out []byte) { // value, count, …
		for i := 0; i < len(parts); i += 2 {
			out = append(out, bytes.Repeat([]byte{byte(parts[i])}, parts[i+1])...)
		}
		return out
	}
	for _, c := range []struct {
		name       string
		pix        []byte
		mean, full float64
	}{
		{"half sky, half ground, a tenth of it saturated", fill(3, 500, 200, 450, 255, 50), (1500 + 90000 + 12750) / 255e3, 0.1},
		{"all saturated", fill(255, 1000), 1, 1},
		{"all black", fill(0, 1000), 0, 0},
		{"hot pixels in bare sky are no ground", fill(0, 998, 255, 2), 510 / 255e3, 0.02},
		{"a sliver of limb, all of it saturated", fill(2, 980, 255, 20), (1960 + 5100) / 255e3, 0.2},
	} {
		got := lightOf(t, c.pix)
		if math.Abs(got.Mean-c.mean) > 1e-12 || math.Abs(got.Full-c.full) > 1e-12 {
			t.Errorf("%s: %+v, want mean %g, full %g", c.name, got, c.mean, c.full)
		}
	}
}

// Samples of two bytes count in the order asked for.
func TestLightOfBigEndian(t *testing.T) {
	pix := []byte{0x10, 0x00, 0x10, 0x00, 0xff, 0xff, 0x10, 0x00}
	l := Layout{Width: 4, Height: 1, Planes: 1, SampleBytes: 2, Pattern: Mono, Stride: 8}
	e, err := Sample(bytes.NewReader(pix), l, 1)
	if err != nil {
		t.Fatal(err)
	}
	for big, want := range map[bool]float64{true: (3*4096 + 65535) / (4 * 65535.0), false: (3*16 + 65535) / (4 * 65535.0)} {
		if got := e.Light(big, 65535, 0.99); math.Abs(got.Mean-want) > 1e-12 {
			t.Errorf("big %v: mean %g, want %g", big, got.Mean, want)
		}
	}
}
