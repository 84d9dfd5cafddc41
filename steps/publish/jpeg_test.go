package publish

import (
	"bytes"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/outsidetest"
)

// grainy is a picture that does not compress well.
func grainy(w, h int) pipelinetest.Plane {
	p := ramp(w, h, 1)
	for i := range p.Pix[0] {
		p.Pix[0][i] += 0.1 * float32((i*7919+i/w*104729)%101) / 101
	}
	return p
}

// A bound holds for the whole file, with its record, and quality is given up no further than it takes.
func TestJPEGKeepsToABound(t *testing.T) {
	part := func(w, h, most int) *pipelinetest.Result {
		return pipelinetest.Run(t, pipeline.Part{Name: "encode", Settings: encodeSettings{Format: "jpeg", Depth: "uint8", Display: true, MaxBytes: most},
			Out: []string{"file"}, Run: pipeline.Bind(encode)}, map[string][]any{"image": {grainy(w, h)}})
	}
	free := len(part(300, 200, 0).Bytes("file"))
	last := free
	for _, most := range []int{free * 3 / 4, free / 2} {
		r := part(300, 200, most)
		file, err := spliceJPEG(r.Bytes("file"), []byte(`{"a":1}`))
		if err != nil || len(file) > most || len(file) > last || len(file) < most*8/10 {
			t.Errorf("%d bytes under a bound of %d (%v)", len(file), most, err)
		}
		if r.Warned("picture-too-large") {
			t.Errorf("a warning under a bound of %d: %v", most, r.Warnings)
		}
		if _, err := jpeg.Decode(bytes.NewReader(file)); err != nil {
			t.Error(err)
		}
		last = len(file)
	}
	if r := part(900, 600, 4000); !r.Warned("picture-too-large") {
		t.Error("no word of a bound that cannot be kept to")
	}
}

// A picture wider than JPEG can say is refused with what to do, before it is drawn.
func TestJPEGHasALongestSide(t *testing.T) {
	part := pipeline.Part{Name: "encode", Settings: encodeSettings{Format: "jpeg", Depth: "uint8"}, Out: []string{"file"}, Run: pipeline.Bind(encode)}
	_, err := pipelinetest.New().Run(t, part, map[string][]any{"image": {ramp(longestJPEG+1, 1, 1)}})
	if err == nil || !strings.Contains(err.Error(), "long_edge_px") {
		t.Errorf("a side of %d px: %v", longestJPEG+1, err)
	}
}

// The width of a print stands in every kind of file, as exiftool reads it: 300 px on 60 mm are 127 px an inch, 50 a centimetre,
// 5,000 a metre. So do profile and encoding.
func TestTagsOutside(t *testing.T) {
	exiftool := outsidetest.Program(t, "exiftool")
	dir := t.TempDir()
	for _, c := range []struct {
		name string
		s    encodeSettings
		want []string
	}{
		{"a.jpg", encodeSettings{Format: "jpeg", Depth: "uint8"}, []string{"XResolution : 127", "ResolutionUnit : inches", "ProfileDescription : Grey with the curve of sRGB"}},
		{"a.png", encodeSettings{Format: "png", Depth: "uint16", Display: true}, []string{"PixelsPerUnitX : 5000", "PixelUnits : meters", "SRGBRendering : Perceptual"}},
		{"a.tif", encodeSettings{Format: "tiff", Depth: "uint16", Display: true}, []string{"XResolution : 50", "ResolutionUnit : cm", "ProfileDescription : Grey with the curve of sRGB"}},
		{"b.tif", encodeSettings{Format: "tiff", Depth: "uint16", Display: true, Encoding: "linear"}, []string{"ProfileDescription : Linear grey"}},
		{"c.tif", encodeSettings{Format: "tiff", Depth: "float32"}, []string{"ProfileDescription : Linear grey"}},
	} {
		c.s.PrintWidthMM = 60
		path := filepath.Join(dir, c.name)
		if err := os.WriteFile(path, encoded(t, c.s, ramp(300, 200, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(exiftool, "-s", path).CombinedOutput()
		got := strings.Join(strings.Fields(string(out)), " ")
		for _, want := range c.want {
			if err != nil || !strings.Contains(got, want) || strings.Contains(got, "Warning") {
				t.Errorf("%s: no %q in\n%s", c.name, want, out)
			}
		}
	}
}

// Linear light of a finished picture is what its sRGB values stand for (IEC 61966-2-1: 188 of 255 are 0.5028865).
func TestEncodings(t *testing.T) {
	p := pipelinetest.Plane{W: 1, H: 1, Pix: [][]float32{{188.0 / 255}}}
	file := encoded(t, encodeSettings{Format: "tiff", Depth: "uint16", Display: true, Encoding: "linear"}, p)
	if got, want := float64(file[8])+256*float64(file[9]), 0.5028865*65535; math.Abs(got-want) > 1 {
		t.Errorf("188 of 255 is %g of 65535 of light, want %g", got, want)
	}
	p.Pix[0][0] = 0.5028865
	file = encoded(t, encodeSettings{Format: "tiff", Depth: "uint16", Encoding: "srgb"}, p)
	if got, want := float64(file[8])+256*float64(file[9]), 188.0/255*65535; math.Abs(got-want) > 1 {
		t.Errorf("0.5028865 of light is %g of 65535, want %g", got, want)
	}
}
