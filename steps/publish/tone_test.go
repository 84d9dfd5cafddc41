package publish

import (
	"bytes"
	stdpng "image/png"
	"math"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/png"
	"plenilune/steps/format/tiff"
	"plenilune/steps/kernel/srgb"
)

// TestEightBitsAreSRGB: linear light in 8 bits is encoded by IEC 61966-2-1 in
// every format, and the file says so.
func TestEightBitsAreSRGB(t *testing.T) {
	light := pipelinetest.Plane{W: 8, H: 1, Pix: [][]float32{{0, .001, .01, .05, .18, .5, .75, 1}}}
	want := []uint32{0, 3, 25, 63, 118, 188, 225, 255}
	file := encoded(t, encodeSettings{Format: "png", Depth: "uint8"}, light)
	img, err := stdpng.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	for x, w := range want {
		if got, _, _, _ := img.At(x, 0).RGBA(); got>>8 != w {
			t.Errorf("%v of light is %d in a PNG of 8 bits, want %d", light.Pix[0][x], got>>8, w)
		}
	}
	file = encoded(t, encodeSettings{Format: "tiff", Depth: "uint8"}, light)
	f, err := tiff.Open(bytes.NewReader(file), int64(len(file)))
	if err == nil {
		err = f.Load(1 << 10)
	}
	if err != nil {
		t.Fatal(err)
	}
	row := make([]float32, 8)
	f.Row(0, row)
	for x, w := range want {
		if row[x] != float32(w) {
			t.Errorf("%v of light is %g in a TIFF of 8 bits, want %d", light.Pix[0][x], row[x], w)
		}
	}
	if !bytes.Contains(file, []byte("Samples are sRGB values")) {
		t.Error("the TIFF of 8 bits does not say that its samples are sRGB values")
	}
}

// TestMeaningIsTagged: what samples mean stands in the file.
func TestMeaningIsTagged(t *testing.T) {
	for _, c := range []struct {
		s    encodeSettings
		srgb bool
	}{
		{encodeSettings{Format: "png", Depth: "uint16"}, false},
		{encodeSettings{Format: "png", Depth: "uint16", Display: true}, true},
		{encodeSettings{Format: "png", Depth: "uint8"}, true},
	} {
		file := encoded(t, c.s, ramp(9, 4, 3))
		tags, err := png.Chunks(bytes.NewReader(file), int64(len(file)), func(k string) bool { return k == "sRGB" || k == "gAMA" })
		if err != nil {
			t.Fatal(err)
		}
		if got := tags[0].Type == "sRGB"; got != c.srgb || len(tags) != map[bool]int{true: 2, false: 1}[c.srgb] {
			t.Errorf("%+v: tagged %v", c.s, tags)
		}
	}
}

// TestDecodeTable holds the table to the curve, and to the table of IEC 61966-2-1
// for 8 bits.
func TestDecodeTable(t *testing.T) {
	p := &picture{s: encodeSettings{Display: true}}
	worst := 0.0
	for i := -1000; i <= 101000; i++ {
		v := float64(i) / 1e5
		worst = max(worst, math.Abs(p.light(v)-srgb.Decode(v)))
	}
	if worst > 5e-8 || worst == 0 { // 6e-9 by the bound beside decodeSteps; the standard's two pieces miss each other by 4e-8
		t.Errorf("the table is off by %.2g", worst)
	}
	for v, want := range map[float64]float64{10: .0030353, 11: .0033465, 64: .0512695, 128: .2158605, 188: .5028865} {
		if got := p.light(v / 255); math.Abs(got-want) > 1e-6 {
			t.Errorf("%v of 255 is %.7f of light, want %v", v, got, want)
		}
	}
}

// TestClippedIsSaid: highlights that a file cannot hold are told of, a stray peak
// is not, and float32 loses nothing.
func TestClippedIsSaid(t *testing.T) {
	few, many := ramp(200, 100, 1), ramp(200, 100, 1)
	few.Pix[0][7] = 1.5
	for i := range 100 {
		many.Pix[0][i] = 1.2
	}
	for _, c := range []struct {
		s    encodeSettings
		p    pipelinetest.Plane
		want bool
	}{
		{encodeSettings{Format: "tiff", Depth: "uint16"}, many, true},
		{encodeSettings{Format: "png", Depth: "uint16"}, many, true},
		{encodeSettings{Format: "fits", Depth: "uint16"}, many, true},
		{encodeSettings{Format: "tiff", Depth: "uint16"}, few, false},
		{encodeSettings{Format: "fits", Depth: "uint16"}, few, false},
		{encodeSettings{Format: "fits", Depth: "float32"}, many, false},
		{encodeSettings{Format: "tiff", Depth: "float32"}, many, false},
	} {
		r := pipelinetest.Run(t, pipeline.Part{Name: "encode", Settings: c.s, Out: []string{"file"}, Run: pipeline.Bind(encode)}, map[string][]any{"image": {c.p}})
		if r.Warned("picture-clipped") != c.want {
			t.Errorf("%+v: warnings %v, want one: %v", c.s, r.Warnings, c.want)
		}
	}
}

// What a file says of its samples is so of what stands for no data and for white.
func TestSamplesAreDescribed(t *testing.T) {
	for want, s := range map[string]encodeSettings{
		"1 = white; NaN is no data":                           {Format: "tiff", Depth: "float32", Display: true, Encoding: "linear"},
		"full scale = white; 0 is no data":                    {Format: "tiff", Depth: "uint16", Display: true, Encoding: "linear"},
		"1 = the camera's white level; NaN is no data":        {Format: "tiff", Depth: "float32"},
		"full scale = the camera's white level; 0 is no data": {Format: "tiff", Depth: "uint16"},
		"Samples are sRGB values":                             {Format: "tiff", Depth: "float32", Display: true},
	} {
		if file := encoded(t, s, ramp(8, 4, 1)); !bytes.Contains(file, []byte(want)) {
			t.Errorf("%+v: the file does not say %q", s, want)
		}
	}
}
