package fits_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plenilune/steps/format/fits"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

// unit lays out a header, and data of n bytes that count up.
func unit(n int, cards ...string) []byte {
	var b []byte
	for _, c := range append(cards, "END") {
		b = fmt.Appendf(b, "%-80s", c)
	}
	b = append(b, bytes.Repeat([]byte(" "), (2880-len(b)%2880)%2880)...)
	for i := range n {
		b = append(b, byte(i))
	}
	return append(b, make([]byte, (2880-n%2880)%2880)...)
}

// picture is a header of 3×2 px of 8 bits with further cards.
func picture(cards ...string) []byte {
	return unit(6, append([]string{"SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    2",
		"NAXIS1  =                    3", "NAXIS2  =                    2"}, cards...)...)
}

func open(b []byte) (*raw.Clip, error) { return fits.OpenClip(bytes.NewReader(b), int64(len(b))) }

// The first row of a file is the lowest (FITS 4.0, 5.1), unless ROWORDER says otherwise.
func TestRowsByHand(t *testing.T) {
	for card, want := range map[string]string{
		"": "[[3 4 5 0 1 2]]", "ROWORDER= 'BOTTOM-UP'": "[[3 4 5 0 1 2]]", "ROWORDER= 'TOP-DOWN'": "[[0 1 2 3 4 5]]",
	} {
		b := picture(card)
		c, err := open(b)
		if err != nil {
			t.Fatal(err)
		}
		f, err := formattest.Read(b, c)
		if got := fmt.Sprint(f.Frames); err != nil || got != want || c.Frames != 1 || c.Declared != 1 {
			t.Errorf("%s: %s, want %s (%v)", card, got, want, err)
		}
	}
}

// A picture's time is the middle of its exposure, in UTC. That of TAI, TT and GPS stood 37, 69.184 and
// 18 s ahead in 2027 (IERS, Bulletin C; FITS 4.0, table 30), TAI 36 s in 2016.
func TestTimes(t *testing.T) {
	at := func(s string) int64 {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.UnixNano()
	}
	for _, c := range []struct {
		cards string
		start string // "": unknown
		frame string
	}{
		{"", "", ""},
		{"DATE-OBS= '2027-03-19T20:00:00.25'", "2027-03-19T20:00:00.25Z", "2027-03-19T20:00:00.25Z"},
		{"DATE-OBS= '2027-03-19T20:00:00Z'", "2027-03-19T20:00:00Z", "2027-03-19T20:00:00Z"},
		{"DATE-OBS= '2027-03-19T20:00:00.25' / begin\nEXPTIME =                  0.5", "2027-03-19T20:00:00.25Z", "2027-03-19T20:00:00.5Z"},
		{"DATE-OBS= '2027-03-19T20:00:00'\nDATE-BEG= '2027-03-19T20:00:01'\nXPOSURE = 2.0D0\nEXPTIME = 9.0", "2027-03-19T20:00:01Z", "2027-03-19T20:00:02Z"},
		{"DATE-OBS= '2027-03-19T20:00:37'\nTIMESYS = 'TAI'", "2027-03-19T20:00:00Z", "2027-03-19T20:00:00Z"},
		{"DATE-OBS= '2027-03-19T20:01:09.184'\nTIMESYS = 'TT(TAI)'", "2027-03-19T20:00:00Z", "2027-03-19T20:00:00Z"},
		{"DATE-OBS= '2027-03-19T20:00:18'\nTIMESYS = 'GPS'", "2027-03-19T20:00:00Z", "2027-03-19T20:00:00Z"},
		{"DATE-OBS= '2016-12-31T20:00:36'\nTIMESYS = 'TAI'", "2016-12-31T20:00:00Z", "2016-12-31T20:00:00Z"},
		{"MJD-OBS = 61483.75", "2027-03-19T18:00:00Z", "2027-03-19T18:00:00Z"},
		{"DATE-OBS= '2027-03-19'", "", ""}, // a day is no time
		{"DATE-OBS= '19/03/97'", "", ""},
		{"DATE-OBS= '2027-03-19T20:00:00'\nTIMESYS = 'LOCAL'", "", ""},
		{"DATE-OBS= '1027-03-19T20:00:00'", "", ""},
	} {
		clip, err := open(picture(strings.Split(c.cards, "\n")...))
		if err != nil {
			t.Fatal(err)
		}
		if c.start == "" {
			if clip.Start != 0 || clip.Times != nil || clip.TimeSource != "" {
				t.Errorf("%s: begins %d, %v", c.cards, clip.Start, clip.Times)
			}
			continue
		}
		if clip.Start != at(c.start) || len(clip.Times) != 1 || clip.Times[0] != at(c.frame) || clip.TimeSource != "header" {
			t.Errorf("%s: begins %v, %v, want %s, %s", c.cards, time.Unix(0, clip.Start).UTC(), clip.Times, c.start, c.frame)
		}
	}
}

// The pattern of the filters is told by the first rows in the file; it is that of the upper left in a clip.
func TestFilters(t *testing.T) {
	for cards, want := range map[string]string{
		"BAYERPAT= 'RGGB'":                                      "GBRG",
		"BAYERPAT= 'RGGB'\nROWORDER= 'TOP-DOWN'":                "RGGB",
		"BAYERPAT= 'RGGB'\nROWORDER= 'TOP-DOWN'\nXBAYROFF= 1":   "GRBG",
		"BAYERPAT= 'rggb'\nROWORDER= 'top-down'\nYBAYROFF= 1":   "GBRG",
		"BAYERPAT= 'GRBG'\nYBAYROFF=                    1 / px": "GRBG",
		"ROWORDER= 'TOP-DOWN'":                                  "mono",
	} {
		c, err := open(picture(strings.Split(cards, "\n")...))
		if err != nil || c.Layout.Pattern != want {
			t.Errorf("%s: %+v (%v), want %s", cards, c, err, want)
		}
	}
}

// What a file of several pictures, planes and tables is taken for.
func TestShapes(t *testing.T) {
	axes := func(bits int, n ...int) []string {
		out := []string{"SIMPLE  =                    T", fmt.Sprintf("BITPIX  = %d", bits), fmt.Sprintf("NAXIS   = %d", len(n))}
		for i, v := range n {
			out = append(out, fmt.Sprintf("NAXIS%d  = %d", i+1, v))
		}
		return out
	}
	extension := func(kind string, cards []string) []string {
		return append([]string{"XTENSION= '" + kind + "'"}, append(cards[1:], "PCOUNT  = 0", "GCOUNT  = 1")...)
	}
	join := func(b ...[]byte) []byte { return bytes.Join(b, nil) }
	for _, c := range []struct {
		name    string
		b       []byte
		frames  int
		pattern string
		remark  string
	}{
		{"three planes that say nothing", unit(18, axes(8, 3, 2, 3)...), 3, "mono", "clip-three-planes"},
		{"three planes of colours", unit(18, append(axes(8, 3, 2, 3), "CTYPE3  = 'RGB'")...), 1, "RGB", ""},
		{"a cube of colours", unit(72, append(axes(8, 3, 2, 3, 4), "CTYPE3  = 'color'")...), 4, "RGB", ""},
		{"four axes", unit(72, axes(8, 3, 2, 3, 4)...), 12, "mono", ""},
		{"an axis of nothing", unit(0, axes(8, 3, 2, 0)...), 0, "mono", ""},
		{"a table between", join(unit(0, axes(8)...), unit(6, extension("IMAGE", axes(8, 3, 2))...), unit(40, extension("BINTABLE", axes(8, 40, 1))...), unit(6, extension("IMAGE", axes(8, 3, 2))...)), 2, "mono", ""},
		{"another size", join(unit(6, axes(8, 3, 2)...), unit(8, extension("IMAGE", axes(8, 4, 2))...), unit(6, extension("IMAGE", axes(8, 3, 2))...)), 2, "mono", "clip-other-pictures"},
		{"another kind", join(unit(6, axes(8, 3, 2)...), unit(12, extension("IMAGE", axes(16, 3, 2))...)), 1, "mono", "clip-other-pictures"},
		{"something behind", join(unit(6, axes(8, 3, 2)...), []byte("junk")), 1, "mono", ""},
	} {
		clip, err := open(c.b)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		remark := ""
		for _, r := range clip.Remarks {
			remark += r.Code
		}
		if clip.Frames != c.frames || clip.Layout.Pattern != c.pattern || remark != c.remark || clip.CutShort {
			t.Errorf("%s: %d frames of %s, %q; want %d of %s, %q", c.name, clip.Frames, clip.Layout.Pattern, remark, c.frames, c.pattern, c.remark)
		}
	}
	two := join(unit(6, axes(8, 3, 2)...), unit(6, extension("IMAGE", axes(8, 3, 2))...))
	if c, err := open(two[:2*2880+1000]); err != nil || c.Frames != 1 || !c.CutShort || c.Declared != 2 {
		t.Errorf("cut within the second header: %+v, %v", c, err)
	}
}

func TestClipFaults(t *testing.T) {
	swap := func(old, with string) []byte {
		return bytes.Replace(picture("BSCALE  = 1.0"), []byte(old), []byte(with), 1)
	}
	packed := append(unit(0, "SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 0"),
		unit(8, "XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", "NAXIS2  = 1", "PCOUNT  = 0", "GCOUNT  = 1", "ZIMAGE  =                    T")...)
	for _, c := range []struct {
		b    []byte
		want string
	}{
		{picture()[:2000], "byte 0: the file ends within a header"},
		{swap("BITPIX  =                    8", "BITPIX  =                   12"), `BITPIX = "12" is none of 8, 16`},
		{swap("NAXIS2  =                    2", "NAXIS9  =                    2"), "does not state NAXIS2"},
		{swap("NAXIS1  =                    3", "NAXIS1  =                   -3"), "does not state NAXIS1, or not as a number"},
		{swap("NAXIS1  =                    3", "NAXIS1  =              9999999"), "a frame of 9999999×2 px"},
		{swap("BSCALE  = 1.0", "BSCALE  = 0.0"), "BSCALE = 0.0 is not positive"},
		{swap("BSCALE  = 1.0", "BAYERPAT= 'X'"), `BAYERPAT = "X" is none of RGGB`},
		{unit(0, "SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 0"), "the file holds no picture; leave it out"},
		{packed, "the pictures are compressed, as tables; uncompress the file first, with funpack"},
		{unit(0, "SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 3", "NAXIS1  = 2", "NAXIS2  = 2", "NAXIS3  = 99999999"), "more than the 16777216 frames"},
	} {
		_, err := open(c.b)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "byte ") || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, c.want)
		}
	}
}

// Samples that are no numbers are dark, and no reason to give a clip up.
func TestNoNumbers(t *testing.T) {
	b := unit(0, "SIMPLE  =                    T", "BITPIX  = -32", "NAXIS   = 2", "NAXIS1  = 4", "NAXIS2  = 1", "")
	copy(b[2880-16:], make([]byte, 16))
	b = append(b[:2880], 0x7f, 0xc0, 0, 0 /* NaN */, 0x7f, 0x80, 0, 0 /* ∞ */, 0x3f, 0x80, 0, 0 /* 1 */, 0xbf, 0x80, 0, 0 /* −1 */)
	c, err := open(b)
	if err != nil {
		t.Fatal(err)
	}
	r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), c.Layout)
	if err != nil {
		t.Fatal(err)
	}
	dst := [][]float32{make([]float32, 4)}
	if err := r.Frame(0, 2, dst); err != nil || fmt.Sprint(dst[0]) != "[0 0 0.5 -0.5]" {
		t.Errorf("%v (%v)", dst, err)
	}
	if _, err := raw.Sample(bytes.NewReader(b), c.Layout, 1); err != nil {
		t.Error(err)
	}
}

// astropyWrites makes cubes, pictures and extensions of every kind of sample, and the same numbers, from
// the top, as little-endian floats beside each.
const astropyWrites = `
import sys, numpy
from astropy.io import fits
d = sys.argv[1]
k, y, x = numpy.mgrid[0:4, 0:5, 0:7]
base = (k * 131 + y * 37 + x * 11) % 251
def put(name, data, shown=None, **cards):
    h = fits.PrimaryHDU(data) if shown is None else data
    for key, v in cards.items(): h.header[key] = v
    fits.HDUList([h]).writeto(d + "/" + name + ".fits")
    want = data if shown is None else shown
    if cards.get("ROWORDER") != "TOP-DOWN": want = want[..., ::-1, :]
    want.astype("<f8").tofile(d + "/" + name + ".raw")
put("u8", base.astype("u1"))
put("i16", (base * 100 - 9000).astype("i2"))
put("u16", (base * 257).astype("u2"))
put("i32", (base * 65539 - 70000).astype("i4"))
put("u32", (base * 15000000).astype("u4"))
put("i64", (base * 65539 - 70000).astype("i8"))
put("f32", (base / 251).astype("f4"))
put("f64", (base / 251).astype("f8"))
put("one", base[0].astype("u2"), ROWORDER="TOP-DOWN")
put("top", base.astype("u2"), ROWORDER="TOP-DOWN")
h = fits.PrimaryHDU((base * 257 - 32768).astype("i2"))
h.header["BSCALE"] = 0.5; h.header["BZERO"] = 16384.0
with open(d + "/scaled.fits", "wb") as f:
    f.write(h.header.tostring().encode()); b = (base * 257 - 32768).astype(">i2").tobytes(); f.write(b + bytes(-len(b) % 2880))
fits.getdata(d + "/scaled.fits")[..., ::-1, :].astype("<f8").tofile(d + "/scaled.raw")
l = fits.HDUList([fits.PrimaryHDU()] + [fits.ImageHDU(p.astype("u2")) for p in base])
l.writeto(d + "/apart.fits"); base[..., ::-1, :].astype("<f8").tofile(d + "/apart.raw")
`

// What astropy writes we read as it does, to the last bit of a float32.
func TestAstropyWritesTheSame(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command(outsidetest.Python(t, "astropy.io.fits"), "-c", astropyWrites, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.fits"))
	if err != nil || len(names) != 12 {
		t.Fatalf("%d files (%v)", len(names), err)
	}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(strings.TrimSuffix(name, ".fits") + ".raw")
		if err != nil {
			t.Fatal(err)
		}
		c, err := open(b)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := all(t, b, c); !bytes.Equal(got, single(want)) {
			t.Errorf("%s: %d frames, of which some differ from what astropy wrote", filepath.Base(name), c.Frames)
		}
	}
}

// What formattest writes, by which the reader is tested, has no fault, and astropy reads the film of it.
func TestOutsideReadsTheFilms(t *testing.T) {
	dir := t.TempDir()
	f := formattest.Scene(7, 5, 4, 8, raw.Mono)
	for i := range f.Frames {
		f.Times = append(f.Times, time.Date(2027, 3, 19, 20, 0, i, 0, time.UTC))
	}
	var paths []string
	for i, o := range []formattest.FITSOptions{{Bits: 8}, {Bits: 16}, {Bits: -32, TopDown: true}, {Bits: 16, Apart: true}, {Bits: 32, Scale: 0.25}, {Bits: 64, Pictures: true}} {
		b, err := formattest.FITS(f, o)
		if err != nil {
			t.Fatal(err)
		}
		paths = append(paths, filepath.Join(dir, fmt.Sprintf("%d.fits", i)))
		if err := os.WriteFile(paths[i], b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	fitsverify := outsidetest.Program(t, "fitsverify")
	out, err := exec.Command(fitsverify, append([]string{"-q"}, paths...)...).CombinedOutput()
	if n := strings.Count(string(out), "verification OK"); err != nil || n != len(paths) {
		t.Errorf("%v: %d of %d files without remark\n%s", err, n, len(paths), out)
	}
	const script = `
import sys, numpy
from astropy.io import fits
for name in sys.argv[1:]:
    with fits.open(name) as f:
        p = [h.data for h in f if h.data is not None]
        d = p[0] if len(p) == 1 else numpy.stack(p)
        if f[0].header.get("ROWORDER") != "TOP-DOWN": d = d[:, ::-1, :]
        sys.stdout.buffer.write(d.astype("u1").tobytes())
`
	got, err := exec.Command(outsidetest.Python(t, "astropy.io.fits"), append([]string{"-c", script}, paths...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	var want []byte
	for range paths {
		for _, pix := range f.Frames {
			for _, v := range pix {
				want = append(want, byte(v))
			}
		}
	}
	if !bytes.Equal(got, want) {
		t.Error("astropy reads something else")
	}
}
