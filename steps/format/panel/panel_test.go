package panel

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/fits"
	"plenilune/steps/format/outsidetest"
)

const clip = "6a52081ac83316e575dc8377c3e0b7ee85713c6f4d4efa404d575df821846435"

// odd are samples that a careless way of writing would change.
var odd = []float32{0, float32(math.Copysign(0, -1)), float32(math.NaN()), float32(math.Inf(1)), math.SmallestNonzeroFloat32,
	math.MaxFloat32, -1.5, 1.0 / 3, 16777217, 0.1}

func plane(name string, channels, from int) Plane {
	const w, h = 7, 5
	return Plane{name, w, h, channels, func(c, y int, dst []float32) error {
		for x := range dst[:w] {
			dst[x] = odd[(from+c*w*h+y*w+x)%len(odd)]
		}
		return nil
	}}
}

func sample() Panel {
	return Panel{From: clip, TakenUnixNS: 1710878640123000000, Planes: []Plane{plane("image", 3, 0), plane("noise", 3, 4), plane("weight", 1, 2)},
		Tables: []Table{{"panel", []byte(`{"width":7}`)}, {"frames", []byte(`{"text":"é"}`)}}}
}

func encode(t testing.TB, p Panel) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Encode(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func open(b []byte) (*File, error) { return Open(bytes.NewReader(b), int64(len(b))) }

// Every sample, every table and the record come back, to the bit.
func TestRoundTrip(t *testing.T) {
	p := sample()
	b := WithRecord(encode(t, p), []byte(`{"r":1}`))
	p.Record = []byte(`{"r":1}`)
	if !bytes.Equal(b, encode(t, p)) {
		t.Error("a record put in later gives other bytes than one written at once")
	}
	f, err := open(b)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Verify(); err != nil {
		t.Error(err)
	}
	if f.From != clip || string(f.Record) != `{"r":1}` || len(f.Planes) != 3 || len(f.Tables) != 2 {
		t.Fatalf("read as %+v", f)
	}
	for i, q := range f.Planes {
		if want := p.Planes[i]; q.Name != want.Name || q.W != 7 || q.H != 5 || q.Channels != want.Channels {
			t.Errorf("plane %d: %+v", i, q)
		}
		got, want := make([]float32, 7), make([]float32, 7)
		for c := range q.Channels {
			for y := range q.H {
				if err := errors.Join(q.Row(c, y, got), p.Planes[i].Row(c, y, want)); err != nil {
					t.Fatal(err)
				}
				for x := range got {
					if math.Float32bits(got[x]) != math.Float32bits(want[x]) {
						t.Errorf("%s at %d,%d of channel %d is %x, want %x", q.Name, x, y, c, math.Float32bits(got[x]), math.Float32bits(want[x]))
					}
				}
			}
		}
	}
	for i, q := range f.Tables {
		if q.Name != p.Tables[i].Name || !bytes.Equal(q.JSON, p.Tables[i].JSON) {
			t.Errorf("table %d: %s %s", i, q.Name, q.JSON)
		}
	}
}

// Every byte that is changed is found, when the file is opened or when it is held against its checksums.
func TestDamageIsFound(t *testing.T) {
	p := sample()
	p.Record = []byte("{}")
	b := encode(t, p)
	for i := 0; i < len(b); i += 7 {
		b[i] ^= 4
		f, err := open(b)
		if err == nil {
			err = f.Verify()
		}
		if err == nil {
			t.Fatalf("byte %d of %d may be changed", i, len(b))
		}
		b[i] ^= 4
	}
}

func TestWhatIsNoPanel(t *testing.T) {
	var picture bytes.Buffer
	q := plane("", 1, 0)
	if err := fits.Encode(&picture, fits.Picture{W: 7, H: 5, Channels: 1, Row: q.Row}); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"nothing": nil, "a text": []byte("a text of some length"), "a picture": picture.Bytes()} {
		if _, err := open(b); !errors.Is(err, ErrNone) {
			t.Errorf("%s: %v", name, err)
		}
	}
	whole := encode(t, sample())
	for want, with := range map[string][2]string{
		"of layout 7":                {"PANELLAY=                    1", "PANELLAY=                    7"},
		"which clip":                 {clip, strings.Repeat("g", 64)},
		"names must differ":          {"'NOISE   '", "'WEIGHT  '"},
		"is no picture of float32":   {"BITPIX  =                  -32", "BITPIX  =                   32"},
		"a header does not say how ": {"BITPIX  =                  -32", "BITPIX  =                 -320"},
	} {
		if _, err := open(bytes.Replace(whole, []byte(with[0]), []byte(with[1]), 1)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	for n := 0; n < len(whole); n += 1000 {
		if _, err := open(whole[:n]); err == nil {
			t.Errorf("%d of %d bytes were taken for the whole", n, len(whole))
		}
	}
}

// fitsverify finds nothing to say, and astropy reads the same, with checksums.
func TestOutside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "p.fits")
	p := sample()
	p.Record = []byte("{}")
	if err := os.WriteFile(path, encode(t, p), 0o600); err != nil {
		t.Fatal(err)
	}
	fitsverify := outsidetest.Program(t, "fitsverify")
	out, err := exec.Command(fitsverify, path).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "found 0 warning(s) and 0 error(s)") {
		t.Errorf("%v\n%s", err, out)
	}
	python := outsidetest.Python(t, "astropy.io.fits")
	const script = `
import sys, warnings
from astropy.io import fits
warnings.simplefilter("error")
with fits.open(sys.argv[1], checksum=True) as f:
    d = f["NOISE"].data
    print([u.name for u in f], d.shape, d[2, 4, 5].astype("<f4").tobytes().hex(), f[0].header["DATE-AVG"], f[0].header["CLIPSHA"],
          bytes(f["FRAMES"].data["JSON"][0]).decode())
`
	got, err := exec.Command(python, "-c", script, path).CombinedOutput()
	// Row 4 from the bottom is row 0; sample 4 + 2·35 + 5 of odd is the tenth.
	want := "['IMAGE', 'NOISE', 'WEIGHT', 'PANEL', 'FRAMES', 'RECORD'] (3, 5, 7) cdcccc3d 2024-03-19T20:04:00.123 " + clip + " {\"text\":\"é\"}\n"
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s want\n%s", err, got, want)
	}
}
