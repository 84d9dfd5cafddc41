package fits

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/steps/format/outsidetest"
)

// stillFile is a file of one picture, its header given as cards' texts.
func stillFile(cards []string, data []byte) []byte {
	var b bytes.Buffer
	for _, c := range append(append([]string{"SIMPLE  =                    T"}, cards...), "END") {
		b.WriteString(cut(c))
	}
	b.WriteString(strings.Repeat(" ", (block-b.Len()%block)%block))
	b.Write(data)
	b.Write(make([]byte, (block-b.Len()%block)%block))
	return b.Bytes()
}

func still(t *testing.T, cards []string, data []byte) *Still {
	t.Helper()
	b := stillFile(cards, data)
	s, err := OpenStill(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A picture of 2×1 px of every kind of number, worked out by hand.
func TestStillKinds(t *testing.T) {
	axes := []string{"NAXIS   = 2", "NAXIS1  = 2", "NAXIS2  = 1"}
	nan := math.NaN()
	for _, c := range []struct {
		cards []string
		data  string
		want  [2]float64
		high  float64
	}{
		{[]string{"BITPIX  = 8"}, "\x00\xff", [2]float64{0, 255}, 255},
		{[]string{"BITPIX  = 8", "BZERO   = 10.", "BSCALE  = 2.0D0"}, "\x00\xff", [2]float64{10, 520}, 520},
		{[]string{"BITPIX  = 16"}, "\xff\xff\x7f\xff", [2]float64{-1, 32767}, 32767},
		{[]string{"BITPIX  = 16", "BZERO   = 32768"}, "\x80\x00\x7f\xff", [2]float64{0, 65535}, 65535},
		{[]string{"BITPIX  = 16", "BLANK   = -1"}, "\xff\xff\x00\x01", [2]float64{nan, 1}, 32767},
		{[]string{"BITPIX  = 32"}, "\x00\x01\x00\x00\xff\xff\xff\xfe", [2]float64{65536, -2}, 0},
		{[]string{"BITPIX  = -32"}, "\x3f\x80\x00\x00\x7f\xc0\x00\x00", [2]float64{1, nan}, 0},
		{[]string{"BITPIX  = -64"}, "\x3f\xf8\x00\x00\x00\x00\x00\x00\x7f\xf0\x00\x00\x00\x00\x00\x00", [2]float64{1.5, nan}, 0},
	} {
		s := still(t, append(c.cards[:1:1], append(axes, c.cards[1:]...)...), []byte(c.data))
		row := make([]float32, 2)
		if err := s.Row(0, 0, row); err != nil {
			t.Fatal(err)
		}
		for i, v := range row {
			if w := float32(c.want[i]); v != w && (v == v || w == w) {
				t.Errorf("%v: sample %d is %g, want %g", c.cards, i, v, w)
			}
		}
		if s.High != c.high {
			t.Errorf("%v: white is %g, want %g", c.cards, s.High, c.high)
		}
	}
}

// The first row is the lowest, unless the file says otherwise; three planes are colours.
func TestStillRows(t *testing.T) {
	cards := []string{"BITPIX  = 8", "NAXIS   = 3", "NAXIS1  = 1", "NAXIS2  = 2", "NAXIS3  = 3"}
	for word, want := range map[string]float32{"": 4, "ROWORDER= 'TOP-DOWN'": 3, "ROWORDER= 'BOTTOM-UP'": 4} {
		s := still(t, append(cards, word), []byte{1, 2, 3, 4, 5, 6})
		row := make([]float32, 1)
		if err := s.Row(1, 0, row); err != nil || row[0] != want || s.Channels != 3 {
			t.Errorf("%q: the uppermost sample of green is %g, want %g (%v)", word, row[0], want, err)
		}
	}
}

// The middle of an exposure: by DATE-AVG, or by its beginning and length.
func TestStillTaken(t *testing.T) {
	cards := []string{"BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1"}
	for words, want := range map[string]int64{
		"":                                    0,
		"DATE-OBS= '2024-03-19T20:04:00.500'": 1710878640500000000,
		"DATE-OBS= '2024-03-19T20:04:00'|EXPTIME = 10.":                1710878645000000000,
		"DATE-OBS= '2024-03-19T20:04:00'|DATE-AVG= '2024-03-19T20:05'": 1710878640000000000,
		"DATE-AVG= '2024-03-19T20:04:30'|DATE-OBS= '2024-03-19T20:00'": 1710878670000000000,
		"DATE-OBS= '2024-03-19T20:04:37'|TIMESYS = 'TAI'":              1710878640000000000,
		"DATE-OBS= '19/03/24'":                                         0,
		"DATE-OBS= '2024-03-19T20:04:00'|EXPTIME = 1E9":                1710878640000000000,
	} {
		if got := still(t, append(cards, strings.Split(words, "|")...), []byte{1}).Taken(); got != want {
			t.Errorf("%s: %d, want %d", words, got, want)
		}
	}
}

func TestWhatIsNoStill(t *testing.T) {
	for want, cards := range map[string][]string{
		"holds no picture":            {"BITPIX  = 8", "NAXIS   = 0"},
		"neither grey nor red, green": {"BITPIX  = 8", "NAXIS   = 3", "NAXIS1  = 1", "NAXIS2  = 1", "NAXIS3  = 4"},
		"samples of BITPIX = 24":      {"BITPIX  = 24", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1"},
		"more data than the file":     {"BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 99999", "NAXIS2  = 99999"},
		"uncompress the file first":   {"BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1", "ZIMAGE  =                    T"},
	} {
		b := stillFile(cards, []byte{1, 2, 3, 4, 5, 6, 7, 8})
		if _, err := OpenStill(bytes.NewReader(b), int64(len(b))); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
}

// What astropy writes is read as it was meant.
func TestStillsOfAstropy(t *testing.T) {
	python := outsidetest.Python(t, "astropy.io.fits")
	dir := t.TempDir()
	const script = `
import sys, numpy
from astropy.io import fits
y, x = numpy.mgrid[0:5, 0:37]
for kind in ("u1", "i2", "u2", "i4", "f4", "f8"):
    d = (100 + 3 * x + 20 * y) % 256
    d = numpy.stack([d, d + 1, d + 2]) % 256
    u = fits.PrimaryHDU(d[:, ::-1].astype(kind))
    u.header["DATE-OBS"] = "2024-03-19T20:04:00"
    u.add_checksum()
    u.writeto(sys.argv[1] + "/" + kind + ".fits")
    fits.HDUList([fits.PrimaryHDU(), fits.ImageHDU(d[0, ::-1].astype(kind), name="STACK")]).writeto(sys.argv[1] + "/" + kind + "-second.fits")
`
	if out, err := exec.Command(python, "-c", script, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, kind := range []string{"u1", "i2", "u2", "i4", "f4", "f8"} {
		for name, channels := range map[string]int{kind: 3, kind + "-second": 1} {
			b, err := os.ReadFile(filepath.Join(dir, name+".fits"))
			if err != nil {
				t.Fatal(err)
			}
			s, err := OpenStill(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if err := s.Verify(); err != nil || s.Channels != channels || channels == 3 && s.Taken() != 1710878640e9 {
				t.Errorf("%s: %v, %+v", name, err, s)
			}
			row := make([]float32, 37)
			for c := range channels {
				for y := range 5 {
					if err := s.Row(c, y, row); err != nil {
						t.Fatal(err)
					}
					for x, v := range row {
						if want := float32(((100+3*x+20*y)%256 + c) % 256); v != want {
							t.Fatalf("%s: %d,%d of channel %d is %g, want %g", name, x, y, c, v, want)
						}
					}
				}
			}
		}
	}
}
