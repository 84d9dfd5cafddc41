package publish

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	stdpng "image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/pipeline/boundtest"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/kernel/srgb"
)

func ramp(w, h, c int) pipelinetest.Plane {
	p := pipelinetest.Plane{W: w, H: h}
	for k := range c {
		v := make([]float32, w*h)
		for i := range v {
			v[i] = float32(i%w)/float32(w-1)*0.9 + float32(k)*0.05
		}
		p.Pix = append(p.Pix, v)
	}
	return p
}

// encoded runs the part that encodes a file.
func encoded(t testing.TB, s encodeSettings, p pipelinetest.Plane) []byte {
	t.Helper()
	part := pipeline.Part{Name: "encode", Settings: s, Out: []string{"file"}, Run: pipeline.Bind(encode)}
	return pipelinetest.Run(t, part, map[string][]any{"image": {p}}).Bytes("file")
}

func TestNames(t *testing.T) {
	for _, good := range []string{"disk.png", "a/b/disk.TIFF", "Mond 2026.jpg", "disk.v2.jpeg"} {
		if text, _ := checkName(good); text != "" {
			t.Errorf("%q: %s", good, text)
		}
	}
	for _, bad := range []string{"", "/disk.png", "../disk.png", "a/../../disk.png", "c:disk.png", "disk", "disk.gif", "con.png", "a/NUL.tif",
		"a\\b.png", "disk?.png", ".hidden.png", "dir. /x.png", "x\x01.png", "..", "LPT1.v2.png"} {
		if text, _ := checkName(bad); text == "" {
			t.Errorf("%q was taken", bad)
		}
	}
}

func TestCheck(t *testing.T) {
	problems := check(&Settings{Pictures: []Picture{
		{File: "disk.png"}, {File: "Disk.png"}, {File: "disk.png", Depth: "float32"}, {File: "a.jpg", Depth: "uint16"}, {File: "b.tif", Depth: "float32", PrintWidthMM: 100},
		{File: "c.fits", PrintWidthMM: 100},
	}}, pipeline.Night{})
	var all []string
	for _, p := range problems {
		all = append(all, p.Path+": "+p.Text)
	}
	got := strings.Join(all, "\n")
	for _, want := range []string{"picture.1.file: \"disk.png\" and \"Disk.png\"", "picture.2.depth: a PNG file cannot hold float32", "picture.3.depth: a JPEG file cannot hold uint16",
		"picture.5.print_width_mm: a FITS file"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if strings.Contains(got, "picture.4") {
		t.Errorf("a fault where there is none:\n%s", got)
	}
}

// Each format gives its record back, and the record changes no pixel.
func TestRecordsSurvive(t *testing.T) {
	record := []byte(`{"plenilune_record":1,"text":"Ω ` + strings.Repeat("lineage ", 5000) + `"}`)
	for _, c := range []struct {
		s      encodeSettings
		splice func(encoded, record []byte) ([]byte, error)
	}{
		{encodeSettings{Format: "tiff", Depth: "float32"}, spliceTIFF},
		{encodeSettings{Format: "tiff", Depth: "uint16", Display: true}, spliceTIFF},
		{encodeSettings{Format: "png", Depth: "uint16", Display: true}, splicePNG},
		{encodeSettings{Format: "fits", Depth: "float32"}, spliceFITS},
		{encodeSettings{Format: "fits", Depth: "uint16", Display: true}, spliceFITS},
		{encodeSettings{Format: "png", Depth: "uint8"}, splicePNG},
		{encodeSettings{Format: "jpeg", Depth: "uint8", Display: true}, spliceJPEG},
	} {
		for _, channels := range []int{1, 3} {
			plain := encoded(t, c.s, ramp(70, 41, channels))
			file, err := c.splice(bytes.Clone(plain), record)
			if err != nil {
				t.Fatalf("%+v: %v", c.s, err)
			}
			got, id, err := ReadRecord(bytes.NewReader(file), int64(len(file)))
			if err != nil {
				t.Fatalf("%+v: %v", c.s, err)
			}
			if c.s.Format == "jpeg" {
				if got != nil || id != cache.Sum(record).String() {
					t.Errorf("JPEG: record %q, id %s", got, id)
				}
			} else if !bytes.Equal(got, record) {
				t.Errorf("%+v: the record came back with %d bytes, had %d", c.s, len(got), len(record))
			}
			if c.s.Format != "tiff" && c.s.Format != "fits" {
				a, b := decode(t, plain), decode(t, file)
				if !bytes.Equal(a, b) {
					t.Errorf("%+v: the record changed pixels", c.s)
				}
			}
			if _, _, err := ReadRecord(bytes.NewReader(plain), int64(len(plain))); err == nil {
				t.Errorf("%+v: a record in a file without one", c.s)
			}
		}
	}
}

// A program that saves a picture anew in the other byte order, and keeps its texts, keeps the record.
func TestRecordOfOtherByteOrder(t *testing.T) {
	packet, err := xmp([]byte("record"), true)
	if err != nil {
		t.Fatal(err)
	}
	file := append([]byte("MM\x00*\x00\x00\x00\x08\x00\x01"), 0x02, 0xbc, 0, 1) // one entry: tag 700 of bytes
	file = binary.BigEndian.AppendUint32(file, uint32(len(packet)))
	file = append(binary.BigEndian.AppendUint32(file, 26), 0, 0, 0, 0) // behind it no further directory
	file = append(file, packet...)
	if got, _, err := ReadRecord(bytes.NewReader(file), int64(len(file))); err != nil || string(got) != "record" {
		t.Errorf("read as %q, %v", got, err)
	}
}

func decode(t testing.TB, file []byte) []byte {
	t.Helper()
	img, _, err := image.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	var out []byte
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bl, _ := img.At(x, y).RGBA()
			out = binary.BigEndian.AppendUint16(out, uint16(r))
			out = binary.BigEndian.AppendUint16(out, uint16(g))
			out = binary.BigEndian.AppendUint16(out, uint16(bl))
		}
	}
	return out
}

func TestSamples(t *testing.T) {
	p := pipelinetest.Plane{W: 6, H: 1, Pix: [][]float32{{-0.2, 0, 0.5, 1, 1.7, float32(math.NaN())}}}
	img, err := stdpng.Decode(bytes.NewReader(encoded(t, encodeSettings{Format: "png", Depth: "uint16"}, p)))
	if err != nil {
		t.Fatal(err)
	}
	// Half of full scale is 32767.5, rounded up; beyond the ends is clipped; no data is 0.
	for x, want := range []uint32{0, 0, 32768, 65535, 65535, 0} {
		if got, _, _, _ := img.At(x, 0).RGBA(); got != want {
			t.Errorf("sample %d is %d, want %d", x, got, want)
		}
	}
	file := encoded(t, encodeSettings{Format: "tiff", Depth: "float32"}, p)
	for x, want := range p.Pix[0] {
		got := math.Float32frombits(binary.LittleEndian.Uint32(file[8+4*x:]))
		if got != want && (want == want || got == got) {
			t.Errorf("float sample %d is %v, want %v", x, got, want)
		}
	}
	// A JPEG is taken for sRGB, so linear light is encoded: 0.18 gives 117.646 of 255 (IEC 61966-2-1).
	grey := pipelinetest.Plane{W: 16, H: 16, Pix: [][]float32{bytesOf(256, 0.18)}}
	j, err := jpeg.Decode(bytes.NewReader(encoded(t, encodeSettings{Format: "jpeg", Depth: "uint8"}, grey)))
	if err != nil {
		t.Fatal(err)
	}
	if v, _, _, _ := j.At(8, 8).RGBA(); v>>8 < 117 || v>>8 > 119 {
		t.Errorf("0.18 of light is %d in a JPEG, want 118", v>>8)
	}
}

func bytesOf(n int, v float32) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// A smaller picture has the same mean light, in linear light, whatever the ratio;
// pixels without data do not darken it.
func TestSmallerKeepsLight(t *testing.T) {
	src := ramp(301, 203, 1)
	src.Pix[0][0] = float32(math.NaN())
	for _, display := range []bool{false, true} {
		for _, edge := range []int{300, 151, 100, 37, 16} {
			part := pipeline.Part{Name: "x", Settings: encodeSettings{Format: "tiff", Depth: "float32", LongEdgePx: edge, Display: display},
				Out: []string{"file"}, Run: pipeline.Bind(encode)}
			file := pipelinetest.Run(t, part, map[string][]any{"image": {src}}).Bytes("file")
			h := int(math.Round(203 * float64(edge) / 301))
			var got, want float64
			for i := range edge * h {
				v := float64(math.Float32frombits(binary.LittleEndian.Uint32(file[8+4*i:])))
				if display {
					v = srgb.Decode(v)
				}
				got += v / float64(edge*h)
			}
			for _, v := range src.Pix[0][1:] {
				l := float64(v)
				if display {
					l = srgb.Decode(l)
				}
				want += l / float64(len(src.Pix[0])-1)
			}
			// At the picture's edges the kernel is cut off, which a ramp of light feels: a few ten thousandths at 16 px.
			if math.Abs(got-want) > 5e-4 {
				t.Errorf("display %v, %d px: mean light %.6f, was %.6f", display, edge, got, want)
			}
		}
	}
}

// What a smaller picture cannot show, a pattern of 0.75 periods a pixel, does not show as another pattern in it; what it can show stays.
// The transfer of Keys's kernel, its cosine transform: 0.998 at 0.1 and 0.063 at 0.75 periods a pixel.
func TestSmallerHasNoMoire(t *testing.T) {
	for periods, want := range map[float64]float64{0.1: 0.998, 0.75: 0.063} {
		src := pipelinetest.Plane{W: 500, H: 40, Pix: [][]float32{make([]float32, 500*40)}}
		for i := range src.Pix[0] {
			src.Pix[0][i] = float32(0.5 + 0.4*math.Cos(2*math.Pi*periods*(float64(i%500)-249.5)/2.5))
		}
		file := encoded(t, encodeSettings{Format: "tiff", Depth: "float32", LongEdgePx: 200}, src)
		cos, sin := 0.0, 0.0
		for x := 40; x < 160; x++ { // whole periods, away from the edges
			v := float64(math.Float32frombits(binary.LittleEndian.Uint32(file[8+4*(8*200+x):]))) - 0.5
			cos += v * math.Cos(2*math.Pi*periods*(float64(x)-99.5)) / 60
			sin += v * math.Sin(2*math.Pi*periods*(float64(x)-99.5)) / 60
		}
		if got := math.Hypot(cos, sin) / 0.4; math.Abs(got-want) > 0.01 {
			t.Errorf("%g periods a pixel pass by %.4f, want %g", periods, got, want)
		}
	}
}

func TestNeverLarger(t *testing.T) {
	f := pipelinetest.Run(t, pipeline.Part{Name: "x", Settings: encodeSettings{Format: "png", Depth: "uint8", LongEdgePx: 5000}, Out: []string{"file"},
		Run: pipeline.Bind(encode)}, map[string][]any{"image": {ramp(30, 20, 1)}})
	c, err := stdpng.DecodeConfig(bytes.NewReader(f.Bytes("file")))
	if err != nil || c.Width != 30 || c.Height != 20 {
		t.Errorf("%d×%d (%v), want 30×20", c.Width, c.Height, err)
	}
}

// exiftool, an independent reader, finds the record's id in the XMP of each format.
func TestExiftoolReadsXMP(t *testing.T) {
	exe := outsidetest.Program(t, "exiftool")
	record := []byte("a record")
	for name, c := range map[string]struct {
		s      encodeSettings
		splice func(a, b []byte) ([]byte, error)
	}{
		"x.tif": {encodeSettings{Format: "tiff", Depth: "uint16"}, spliceTIFF},
		"x.png": {encodeSettings{Format: "png", Depth: "uint16"}, splicePNG},
		"x.jpg": {encodeSettings{Format: "jpeg", Depth: "uint8"}, spliceJPEG},
	} {
		file, err := c.splice(encoded(t, c.s, ramp(20, 10, 1)), record)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(exe, "-XMP:all", "-Warning", "-s", path).CombinedOutput()
		if err != nil || !strings.Contains(string(out), cache.Sum(record).String()) || !strings.Contains(string(out), "CreatorTool") || strings.Contains(string(out), "Warning") {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
	}
}

func FuzzReadRecord(f *testing.F) {
	for _, splice := range []struct {
		s encodeSettings
		f func(a, b []byte) ([]byte, error)
	}{{encodeSettings{Format: "tiff", Depth: "uint8"}, spliceTIFF}, {encodeSettings{Format: "png", Depth: "uint8"}, splicePNG}, {encodeSettings{Format: "jpeg", Depth: "uint8"}, spliceJPEG}} {
		file, err := splice.f(encoded(f, splice.s, ramp(3, 2, 1)), []byte("record"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(file)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		boundtest.Reading(t, b, func(r io.ReaderAt, size int64) { _, _, _ = ReadRecord(r, size) })
	})
}
