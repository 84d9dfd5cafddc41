package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"plenilune/steps/format/icc"
	"plenilune/steps/format/tiff"
)

// made encodes a picture of w×h px whose samples are a ramp.
func made(t testing.TB, kind string, w, h int) []byte {
	t.Helper()
	var b bytes.Buffer
	var err error
	m := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for i := range w * h {
		m.Set(i%w, i/w, color.NRGBA64{uint16(i * 97), uint16(i * 31), uint16(i * 7), 65535})
	}
	switch kind {
	case PNG:
		err = png.Encode(&b, m)
	case JPEG:
		err = jpeg.Encode(&b, m, nil)
	case TIFF:
		head := tiff.Header{Width: w, Height: h, Channels: 3, Sample: tiff.Uint16, Profile: icc.Profile(icc.Kind{Linear: true})}
		err = tiff.Encode(&b, head, func(y int, dst []byte) error {
			for i := range dst {
				dst[i] = byte(i * y)
			}
			return nil
		})
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestDeepColour: 16 bits of three colours come back as they were written.
func TestDeepColour(t *testing.T) {
	got, err := samples(made(t, PNG, 9, 5))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 45 {
		if want := [3]float32{float32(uint16(i * 97)), float32(uint16(i * 31)), float32(uint16(i * 7))}; [3]float32(got[3*i:]) != want {
			t.Fatalf("pixel %d is %v, want %v", i, got[3*i:3*i+3], want)
		}
	}
}

// withChunk puts a chunk behind a PNG's header.
func withChunk(file []byte, kind string, data ...byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	c = append(append(c, kind...), data...)
	c = binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
	return append(append(bytes.Clone(file[:33]), c...), file[33:]...)
}

// profiled puts a colour profile into a PNG.
func profiled(t *testing.T, file []byte, linear bool) []byte {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("light\x00\x00")
	z := zlib.NewWriter(&b)
	_, err := z.Write(icc.Profile(icc.Kind{Linear: linear}))
	if err := errors.Join(err, z.Close()); err != nil {
		t.Fatal(err)
	}
	return withChunk(file, "iCCP", b.Bytes()...)
}

func TestEncodings(t *testing.T) {
	grey := made(t, PNG, 4, 3)
	for name, c := range map[string]struct {
		file []byte
		want string
	}{
		"nothing said":    {grey, ""},
		"sRGB":            {withChunk(grey, "sRGB", 0), SRGB},
		"gamma 1":         {withChunk(grey, "gAMA", 0, 1, 0x86, 0xa0), Linear},
		"gamma 1/2.2":     {withChunk(grey, "gAMA", 0, 0, 0xb1, 0x8f), SRGB},
		"sRGB over gamma": {withChunk(withChunk(grey, "gAMA", 0, 1, 0x86, 0xa0), "sRGB", 0), SRGB},
		"coded, linear":   {withChunk(grey, "cICP", 1, 8, 0, 1), Linear},
		"coded, sRGB":     {withChunk(grey, "cICP", 1, 13, 0, 1), SRGB},
		"a profile":       {withChunk(grey, "iCCP", 'x', 0, 0), SRGB},
		"linear profile":  {profiled(t, grey, true), Linear},
		"sRGB's profile":  {profiled(t, grey, false), SRGB},
		"profile, sRGB":   {withChunk(profiled(t, grey, true), "sRGB", 0), Linear},
		"profile, gamma":  {profiled(t, withChunk(grey, "gAMA", 0, 1, 0x86, 0xa0), false), SRGB},
		"coded, profile":  {profiled(t, withChunk(grey, "cICP", 1, 8, 0, 1), false), Linear},
		"coded, sRGB too": {withChunk(withChunk(grey, "cICP", 1, 8, 0, 1), "sRGB", 0), Linear},
		"coded unknown":   {withChunk(withChunk(grey, "cICP", 1, 99, 0, 1), "sRGB", 0), SRGB},
		"JPEG":            {made(t, JPEG, 4, 3), SRGB},
		"TIFF, linear":    {made(t, TIFF, 4, 3), Linear},
		"TIFF's sRGB":     {bytes.Replace(made(t, TIFF, 4, 3), []byte("para\x00\x00\x00\x00\x00\x00"), []byte("para\x00\x00\x00\x00\x00\x03"), -1), SRGB},
	} {
		p, err := Open(bytes.NewReader(c.file), int64(len(c.file)))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if p.Encoding != c.want {
			t.Errorf("%s: taken for %q (%s), want %q", name, p.Encoding, p.Why, c.want)
		}
	}
}

// TestBombs: a header that claims more than the file can hold is refused before memory is taken.
func TestBombs(t *testing.T) {
	bomb := made(t, PNG, 4, 3)
	binary.BigEndian.PutUint32(bomb[16:], 60000)
	binary.BigEndian.PutUint32(bomb[20:], 60000)
	binary.BigEndian.PutUint32(bomb[29:], crc32.ChecksumIEEE(bomb[12:29]))
	wide := made(t, JPEG, 4, 3)
	at := bytes.Index(wide, []byte{0xff, 0xc0})
	copy(wide[at+5:], []byte{0xfd, 0, 0xfd, 0})
	tall := made(t, TIFF, 4, 3)
	entry := bytes.LastIndex(tall, []byte{1, 1, 4, 0, 1, 0, 0, 0, 3, 0}) // the height
	binary.LittleEndian.PutUint32(tall[entry+8:], 1<<20)
	for name, file := range map[string][]byte{"PNG": bomb, "JPEG": wide, "TIFF": tall} {
		before := allocated()
		_, err := samples(file)
		if err == nil {
			t.Errorf("%s: accepted", name)
		} else if !strings.Contains(err.Error(), "should hold") && name != "TIFF" {
			t.Errorf("%s: %v", name, err)
		}
		if took := allocated() - before; took > 1<<20 {
			t.Errorf("%s: %d bytes of memory were taken", name, took)
		}
	}
}

func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}

// fuzz reads a picture of any bytes: no panic, no sample beyond its bits, no more memory than is promised.
func fuzz(t *testing.T, b []byte) {
	before := allocated()
	p, err := Open(bytes.NewReader(b), int64(len(b)))
	if err == nil {
		p.Taken()
		err = p.Load()
	}
	if took := allocated() - before; took > uint64(bound(int64(len(b))))+1<<22 {
		t.Fatalf("%d bytes of memory for a file of %d", took, len(b))
	}
	if err != nil {
		return
	}
	row := make([]float32, p.Width*p.Channels)
	for _, y := range []int{0, p.Height / 2, p.Height - 1} {
		p.Row(y, row)
		for _, v := range row {
			if p.Bits < 32 && !(v >= 0 && v < float32(int(1)<<p.Bits)) {
				t.Fatalf("a sample of %v in %d bits", v, p.Bits)
			}
		}
	}
}

func FuzzPNG(f *testing.F) {
	f.Add(made(f, PNG, 9, 7))
	f.Add(withChunk(made(f, PNG, 2, 2), "gAMA", 0, 1, 0x86, 0xa0))
	var b bytes.Buffer
	m := image.NewPaletted(image.Rect(0, 0, 5, 4), color.Palette{color.Black, color.White, color.NRGBA{1, 2, 3, 4}})
	if err := png.Encode(&b, m); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(fuzz)
}

// The seeds were written by Pillow, tifffile and tiffcp, as outside_test.go has them write more.
func FuzzTIFF(f *testing.F) {
	f.Add(made(f, TIFF, 9, 7))
	small, err := filepath.Glob("testdata/*.tif")
	if err != nil || len(small) < 6 {
		f.Fatalf("seeds %v: %v", small, err)
	}
	for _, name := range small {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(fuzz)
}

func FuzzJPEG(f *testing.F) {
	f.Add(made(f, JPEG, 9, 7))
	f.Add(dated(made(f, JPEG, 9, 7)))
	f.Fuzz(fuzz)
}
