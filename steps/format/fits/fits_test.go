package fits

import (
	"bytes"
	"encoding/hex"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/pipeline/boundtest"
	"plenilune/steps/format/outsidetest"
)

// picture has values that tell rows, columns and channels apart.
func picture(w, h, channels int, whole bool) Picture {
	return Picture{W: w, H: h, Channels: channels, Whole: whole, Cards: []Card{{"OBJECT", "Moon", ""}, {"SCALE", 0.25, "arcsec/px"}, {"COMMENT", nil, " it's a disk"}},
		Row: func(c, y int, dst []float32) error {
			for x := range dst {
				dst[x] = float32(c)*0.25 + float32(y*w+x)/float32(w*h)*0.45
			}
			if y == 1 && !whole {
				dst[0] = float32(math.NaN())
			}
			return nil
		}}
}

func encode(t testing.TB, p Picture) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Encode(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Unsigned numbers of 16 bits are stored less 32768, big-endian (FITS 4.0, table 11): of 0, 1, 32767, 32768, 65534, 65535 the bytes
// are 8000 8001 FFFF 0000 7FFE 7FFF, and of two rows of them the sum is 4294836225 (astropy 5.2).
func TestUnsigned(t *testing.T) {
	rows := [][]float32{{32768, 65534, 65535}, {0, 1, 32767}} // the lowest first in the file
	b := encode(t, Picture{W: 3, H: 2, Channels: 1, Whole: true, Row: func(_, y int, dst []float32) error {
		for i, v := range rows[y] {
			dst[i] = v / 65535
		}
		return nil
	}})
	if len(b) != 5760 {
		t.Fatalf("%d bytes, want two blocks", len(b))
	}
	if got := hex.EncodeToString(b[2880:2892]); got != "80008001ffff00007ffe7fff" {
		t.Errorf("data %s", got)
	}
	if !strings.Contains(string(b[:2880]), "DATASUM = '4294836225'") {
		t.Errorf("no such sum in\n%s", b[:2880])
	}
}

// The words of every unit add up to nothing, which is all ones (FITS 4.0, 4.4.2.7).
func TestSums(t *testing.T) {
	for _, w := range []int{1, 3, 37, 720} {
		for _, whole := range []bool{false, true} {
			for _, channels := range []int{1, 3} {
				b := encode(t, picture(w, 5, channels, whole))
				var s sum
				s.add(b)
				if s.value() != 0xffffffff {
					t.Errorf("%d px, whole %v, %d channels: the sum is %x", w, whole, channels, s.value())
				}
				with := AppendTable(bytes.Clone(b), "RECORD", "BYTES", bytes.Repeat([]byte{7, 250}, 1801+w))
				s = sum{}
				s.add(with[len(b):])
				if s.value() != 0xffffffff {
					t.Errorf("of a table the sum is %x", s.value())
				}
				got, ok, err := Table(bytes.NewReader(with), int64(len(with)), "RECORD")
				if err != nil || !ok || !bytes.Equal(got, bytes.Repeat([]byte{7, 250}, 1801+w)) {
					t.Errorf("the table came back with %d bytes (%v, %v)", len(got), ok, err)
				}
			}
		}
	}
}

func TestSumLetters(t *testing.T) {
	for _, v := range []uint32{0, 1, 0xffffffff, 0x12345678, 868229149} {
		s := encodeSum(v)
		for _, c := range s {
			if c < '0' || punctuation(int(c)) || c > 'z' {
				t.Errorf("%x: %q", v, s)
			}
		}
	}
	// The example of FITS 4.0, appendix J.5.
	if got := encodeSum(868229149); got != "hcHjjc9ghcEghc9g" {
		t.Errorf("868229149 is %s, want hcHjjc9ghcEghc9g", got)
	}
}

func TestCutFilesAreRefused(t *testing.T) {
	b := AppendTable(encode(t, picture(9, 5, 1, false)), "RECORD", "BYTES", []byte("x"))
	for n := 1; n < len(b)-2879; n += 97 {
		if got, ok, err := Table(bytes.NewReader(b[:n]), int64(n), "RECORD"); ok || err == nil && n != 5760 {
			t.Fatalf("%d of %d bytes: %q, %v, %v", n, len(b), got, ok, err)
		}
	}
}

func FuzzTable(f *testing.F) {
	f.Add(AppendTable(encode(f, picture(3, 2, 1, false)), "RECORD", "BYTES", []byte("x")))
	f.Fuzz(func(t *testing.T, b []byte) {
		boundtest.Reading(t, b, func(r io.ReaderAt, size int64) {
			if got, ok, err := Table(r, size, "RECORD"); ok && (err != nil || len(got) > len(b)) {
				t.Fatalf("%d bytes of %d, %v", len(got), len(b), err)
			}
		})
	})
}

// fitsverify must have nothing to remark, and astropy must read what was written, its own sums bearing the file's out.
func TestOutside(t *testing.T) {
	dir := t.TempDir()
	var paths []string
	for name, p := range map[string]Picture{"a": picture(37, 5, 1, false), "b": picture(37, 5, 3, false), "c": picture(37, 5, 3, true)} {
		path := filepath.Join(dir, name+".fits")
		paths = append(paths, path)
		if err := os.WriteFile(path, AppendTable(encode(t, p), "RECORD", "BYTES", []byte("é {}")), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	fitsverify := outsidetest.Program(t, "fitsverify")
	for _, p := range paths {
		out, err := exec.Command(fitsverify, p).CombinedOutput()
		if err != nil || !strings.Contains(string(out), "found 0 warning(s) and 0 error(s)") {
			t.Errorf("%v\n%s", err, out)
		}
	}
	const script = `
import sys, warnings, numpy
from astropy.io import fits
warnings.simplefilter("error")
for name, channels, whole in (("a", 1, False), ("b", 3, False), ("c", 3, True)):
    with fits.open(sys.argv[1] + "/" + name + ".fits", checksum=True) as f:
        d = f[0].data[..., ::-1, :].astype(float)
        if whole: d = d / 65535
        y, x = numpy.mgrid[0:5, 0:37]
        want = numpy.stack([c * .25 + (y * 37 + x) / 185 * .45 for c in range(channels)])
        if not whole: want[:, 1, 0] = numpy.nan
        if channels == 1: want = want[0]
        ok = numpy.allclose(d, want, atol=1e-5, equal_nan=True)
        print(name, ok, d.shape, f[0].header["SCALE"], bytes(f["RECORD"].data["BYTES"][0]).decode())
`
	python := outsidetest.Python(t, "astropy.io.fits")
	got, err := exec.Command(python, "-c", script, dir).CombinedOutput()
	want := "a True (5, 37) 0.25 é {}\nb True (3, 5, 37) 0.25 é {}\nc True (3, 5, 37) 0.25 é {}\n"
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s want\n%s", err, got, want)
	}
}
