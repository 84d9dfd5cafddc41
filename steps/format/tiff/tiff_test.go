package tiff

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/image/tiff"
)

// made is a file of random samples and the bytes of its rows.
func made(t testing.TB, h Header, seed uint64) (file []byte, rows [][]byte) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 3))
	var b bytes.Buffer
	err := Encode(&b, h, func(y int, dst []byte) error {
		for i := 0; i < len(dst); i += h.Sample.Bytes() {
			switch h.Sample {
			case Float32:
				binary.LittleEndian.PutUint32(dst[i:], math.Float32bits(float32(r.Float64()*3-1)))
			case Uint16:
				binary.LittleEndian.PutUint16(dst[i:], uint16(r.Uint64()))
			default:
				dst[i] = byte(r.Uint64())
			}
		}
		rows = append(rows, bytes.Clone(dst))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), rows
}

var headers = []Header{
	{Width: 1, Height: 1, Channels: 1, Sample: Uint8},
	{Width: 7, Height: 5, Channels: 1, Sample: Uint16, Description: "grey", Software: "a test"},
	{Width: 300, Height: 210, Channels: 3, Sample: Uint16, PxPerCM: 118},
	{Width: 33, Height: 700, Channels: 1, Sample: Float32},
	{Width: 64, Height: 64, Channels: 3, Sample: Float32, Big: true},
	{Width: 5, Height: 3, Channels: 3, Sample: Uint8, Big: true, XMP: []byte("<x/>")},
	{Width: 20, Height: 11, Channels: 1, Alpha: true, Sample: Uint16},
}

func TestSurvives(t *testing.T) {
	for i, h := range headers {
		file, rows := made(t, h, uint64(i))
		for _, xmp := range [][]byte{nil, []byte("<a>one</a>"), bytes.Repeat([]byte("long "), 1000)} {
			if xmp != nil {
				var err error
				if file, err = WithXMP(file, xmp); err != nil {
					t.Fatal(err)
				}
			}
			f, err := Open(bytes.NewReader(file), int64(len(file)))
			if err != nil {
				t.Fatalf("%+v: %v", h, err)
			}
			buf := make([]byte, h.RowBytes())
			for y, want := range rows {
				if err := f.Row(y, buf); err != nil || !bytes.Equal(buf, want) {
					t.Fatalf("%+v: row %d came back otherwise (%v)", h, y, err)
				}
			}
			if f.Header.Channels != h.Channels || f.Header.Alpha != h.Alpha || f.Header.Sample != h.Sample || f.Header.Description != h.Description {
				t.Errorf("header %+v came back as %+v", h, f.Header)
			}
			if xmp != nil {
				got, err := ReadXMP(bytes.NewReader(file), int64(len(file)))
				if err != nil || !bytes.Equal(got, xmp) {
					t.Errorf("XMP of %d bytes came back with %d: %v", len(xmp), len(got), err)
				}
			}
		}
	}
}

// Heads of files: TIFF 6.0 (Adobe 1992), section 2: "II", 42, offset of 4 bytes;
// BigTIFF: "II", 43, offset size 8, 0, offset of 8 bytes.
func TestHeads(t *testing.T) {
	small, _ := made(t, headers[0], 1)
	big, _ := made(t, headers[4], 1)
	if got := hex.EncodeToString(small[:4]); got != "49492a00" {
		t.Errorf("classic head %s", got)
	}
	if got := hex.EncodeToString(big[:8]); got != "49492b0008000000" {
		t.Errorf("BigTIFF head %s", got)
	}
}

// Pictures beyond 4 GiB must be BigTIFF without being asked.
func TestBigBeyond4GiB(t *testing.T) {
	for _, c := range []struct {
		side int
		want bool
	}{{8000, false}, {32000, false}, {33000, true}} {
		h := Header{Width: c.side, Height: c.side, Channels: 1, Sample: Float32}
		if got := h.big(); got != c.want {
			t.Errorf("%d² float32 (%d bytes): BigTIFF %v", c.side, int64(h.RowBytes())*int64(c.side), got)
		}
	}
}

// golang.org/x/image/tiff, a reader that shares nothing with this one, reads the
// kinds it knows.
func TestAgainstXImage(t *testing.T) {
	for i, h := range headers {
		if h.Sample == Float32 || h.Big || h.Alpha {
			continue
		}
		file, rows := made(t, h, uint64(i))
		img, err := tiff.Decode(bytes.NewReader(file))
		if err != nil {
			t.Fatalf("%+v: %v", h, err)
		}
		for y, row := range rows {
			for x := range h.Width {
				var want color.RGBA64
				s := func(c int) uint16 {
					k := x*h.Channels + min(c, h.Channels-1)
					if h.Sample == Uint16 {
						return binary.LittleEndian.Uint16(row[2*k:])
					}
					return uint16(row[k]) * 257
				}
				want = color.RGBA64{R: s(0), G: s(1), B: s(2), A: 65535}
				if got := color.RGBA64Model.Convert(img.At(x, y)); got != want {
					t.Fatalf("%+v: pixel %d,%d is %v, want %v", h, x, y, got, want)
				}
			}
		}
	}
}

// tool finds a program that gives a second opinion; CI does not go without.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("PLENILUNE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is needed and not there: %v", name, err)
		}
		t.Skipf("%s is not installed: its opinion is not asked", name)
	}
	return path
}

// libtiff's tiffinfo reads every file without a warning.
func TestTiffinfo(t *testing.T) {
	exe := tool(t, "tiffinfo")
	for i, h := range headers {
		file, _ := made(t, h, uint64(i))
		file, err := WithXMP(file, []byte("<x/>"))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "x.tif")
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(exe, "-D", path).CombinedOutput()
		if err != nil || strings.Contains(string(out), "Warning") || !strings.Contains(string(out), fmt.Sprintf("Image Width: %d Image Length: %d", h.Width, h.Height)) {
			t.Errorf("%+v: %v\n%s", h, err, out)
		}
	}
}

// tifffile (Python) reads equal arrays.
func TestTifffile(t *testing.T) {
	const script = `import sys, tifffile
a = tifffile.imread(sys.argv[1])
sys.stdout.buffer.write(a.astype(a.dtype.newbyteorder('<')).tobytes())`
	python := "/usr/bin/python3" // Debian's, which sees Debian's packages
	if exec.Command(python, "-c", "import tifffile").Run() != nil {
		python = tool(t, "python3")
		if exec.Command(python, "-c", "import tifffile").Run() != nil {
			if os.Getenv("PLENILUNE_REQUIRE_TOOLS") == "1" {
				t.Fatal("Python's tifffile is needed and not there")
			}
			t.Skip("Python's tifffile is not installed: its opinion is not asked")
		}
	}
	for i, h := range headers {
		file, rows := made(t, h, uint64(i))
		path := filepath.Join(t.TempDir(), "x.tif")
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(python, "-c", script, path).Output()
		if err != nil || !bytes.Equal(out, bytes.Join(rows, nil)) {
			t.Errorf("%+v: %v, %d bytes, want %d", h, err, len(out), h.RowBytes()*h.Height)
		}
	}
}

func TestRefuses(t *testing.T) {
	for _, h := range []Header{{}, {Width: 1, Height: 1, Channels: 2}, {Width: 1 << 30, Height: 1, Channels: 1}, {Width: 1, Height: 1, Channels: 1, Sample: 9}} {
		if err := Encode(&bytes.Buffer{}, h, func(int, []byte) error { return nil }); err == nil {
			t.Errorf("%+v was written", h)
		}
	}
	file, _ := made(t, headers[2], 1)
	for n := 0; n < len(file); n += 1 + len(file)/97 {
		f, err := Open(bytes.NewReader(file[:n]), int64(n))
		if err == nil {
			err = f.Row(headers[2].Height-1, make([]byte, headers[2].RowBytes()))
		}
		if err == nil {
			t.Fatalf("cut to %d of %d bytes and still read", n, len(file))
		}
	}
}

// Decode, encode, decode: what was read once is read again alike.
func FuzzOpen(f *testing.F) {
	for i, h := range headers[:3] {
		file, _ := made(f, h, uint64(i))
		f.Add(file)
	}
	big, _ := made(f, headers[5], 1)
	f.Add(big)
	f.Fuzz(func(t *testing.T, b []byte) {
		_, _ = ReadXMP(bytes.NewReader(b), int64(len(b)))
		p, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil || p.Header.RowBytes()*p.Header.Height > 1<<20 {
			return
		}
		var again bytes.Buffer
		if err := Encode(&again, p.Header, func(y int, dst []byte) error { return p.Row(y, dst) }); err != nil {
			return
		}
		q, err := Open(bytes.NewReader(again.Bytes()), int64(again.Len()))
		if err != nil {
			t.Fatalf("what was read and written cannot be read: %v", err)
		}
		one, two := make([]byte, p.Header.RowBytes()), make([]byte, p.Header.RowBytes())
		for y := range p.Header.Height {
			if p.Row(y, one) != nil || q.Row(y, two) != nil || !bytes.Equal(one, two) {
				t.Fatalf("row %d came back otherwise", y)
			}
		}
	})
}

func BenchmarkEncode(b *testing.B) {
	h := Header{Width: 4000, Height: 1000, Channels: 1, Sample: Float32}
	b.SetBytes(int64(h.RowBytes()) * int64(h.Height))
	for b.Loop() {
		if err := Encode(&bytes.Buffer{}, h, func(int, []byte) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}
