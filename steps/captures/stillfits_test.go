package captures

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/outsidetest"
	"plenilune/steps/format/raw"
)

// stillsOf writes each frame of a film as a FITS file of its own.
func stillsOf(t *testing.T, f formattest.Film, o formattest.FITSOptions) pipelinetest.Pictures {
	t.Helper()
	var out pipelinetest.Pictures
	for i := range f.Frames {
		one := f
		one.Frames = f.Frames[i : i+1]
		if len(f.Times) > 0 {
			one.Times = f.Times[i : i+1]
		}
		b, err := formattest.FITS(one, o)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, b)
	}
	return out
}

// indexLaid is the index of pictures that were laid out, and their file.
func indexLaid(t *testing.T, pics pipelinetest.Pictures) (Index, []byte, *pipelinetest.Result) {
	t.Helper()
	s, l, file, _, err := laidOut(t, pics, encodingAuto)
	if err != nil {
		t.Fatal(err)
	}
	x, r := indexOf(t, s, l, file, asked{partSettings: auto})
	return x, file, r
}

// framesOf decodes all frames as shares of white.
func framesOf(t *testing.T, file []byte, x Index) []float32 {
	t.Helper()
	r, err := raw.NewReader(bytes.NewReader(file), int64(len(file)), x.Layout)
	if err != nil {
		t.Fatal(err)
	}
	var out []float32
	for i := range x.Frames {
		dst := make([][]float32, x.Layout.Planes)
		for p := range dst {
			dst[p] = make([]float32, x.Layout.Width*x.Layout.Height)
		}
		if err := r.Frame(i, x.White, dst); err != nil {
			t.Fatal(err)
		}
		out = append(out, slices.Concat(dst...)...)
	}
	return out
}

// A FITS file a frame tells the same as one file of all frames, whatever kind of number it holds: samples, times, white, filters.
func TestFITSPicturesAreAClip(t *testing.T) {
	for name, c := range map[string]struct {
		pattern string
		bits    int
		o       formattest.FITSOptions
	}{
		"8 bits": {raw.Mono, 8, formattest.FITSOptions{Bits: 8}}, "16 bits": {raw.Mono, 16, formattest.FITSOptions{Bits: 16}},
		"from the top": {raw.Mono, 16, formattest.FITSOptions{Bits: 16, TopDown: true}}, "32 bits": {raw.Mono, 16, formattest.FITSOptions{Bits: 32}},
		"shares of white": {raw.Mono, 16, formattest.FITSOptions{Bits: -32, Unit: true}}, "64 bits": {raw.Mono, 16, formattest.FITSOptions{Bits: -64}},
		"filters": {raw.GRBG, 16, formattest.FITSOptions{Bits: 16}}, "colours": {raw.RGB, 8, formattest.FITSOptions{Bits: 8}},
	} {
		film := formattest.Scene(24, 16, 6, c.bits, c.pattern)
		film.Times = stamps(6)
		got, file, r := indexLaid(t, stillsOf(t, film, c.o))
		c.o.Apart = true
		b, err := formattest.FITS(film, c.o)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := run(t, b, auto)
		if !slices.Equal(framesOf(t, file, got), framesOf(t, b, want)) {
			t.Errorf("%s: other samples", name)
		}
		if !slices.Equal(got.TimesUnixNS, timesOf(film)) || got.StartUnixNS != film.Times[0].UnixNano() || got.TimeSource != "header" {
			t.Errorf("%s: times %v from %d by %q, want %v", name, got.TimesUnixNS, got.StartUnixNS, got.TimeSource, timesOf(film))
		}
		if got.White != want.White || got.Depth != want.Depth || got.Layout.Pattern != want.Layout.Pattern || got.Level != want.Level || len(r.Warnings) > 0 {
			t.Errorf("%s: index %+v, want %+v; warnings %v", name, got, want, r.Warnings)
		}
	}
}

// One that cannot be read is black, whatever number means that; one that does not say when it was taken takes no time from others.
func TestFITSPicturesDamaged(t *testing.T) {
	film := formattest.Scene(24, 16, 4, 16, raw.Mono)
	film.Times = stamps(4)
	untimed := film
	untimed.Times = nil
	for _, o := range []formattest.FITSOptions{{Bits: 8}, {Bits: 16}, {Bits: 32}, {Bits: 64}, {Bits: -32}, {Bits: -64}} {
		film := film
		if o.Bits == 8 {
			film = formattest.Scene(24, 16, 4, 8, raw.Mono)
			film.Times = stamps(4)
		}
		pics := stillsOf(t, film, o)
		pics[1] = pics[1][:3000]
		x, file, _ := indexLaid(t, pics)
		if frame := framesOf(t, file, x)[24*16:][:24*16]; slices.ContainsFunc(frame, func(v float32) bool { return v != 0 }) {
			t.Errorf("BITPIX %d: a damaged frame is %v", o.Bits, frame[:4])
		}
		want := timesOf(film)
		if want[1] = 0; !slices.Equal(x.TimesUnixNS, want) {
			t.Errorf("BITPIX %d: times %v, want %v", o.Bits, x.TimesUnixNS, want)
		}
	}
	if x, _, r := indexLaid(t, stillsOf(t, untimed, formattest.FITSOptions{Bits: 16})); len(x.TimesUnixNS) > 0 || !r.Warned("clip-without-times") {
		t.Errorf("times %v, warnings %v", x.TimesUnixNS, r.Warnings)
	}
	pics := stillsOf(t, film, formattest.FITSOptions{Bits: 16})
	cube, err := formattest.FITS(film, formattest.FITSOptions{Bits: 16})
	if err != nil {
		t.Fatal(err)
	}
	for want, odd := range map[string][]byte{
		"is 24×15 px, mono, 16 bit, 32768 and up, others are 24×16 px": stillsOf(t, formattest.Scene(24, 15, 1, 16, raw.Mono), formattest.FITSOptions{Bits: 16})[0],
		"is 24×16 px, mono, 8 bit, others are":                         stillsOf(t, formattest.Scene(24, 16, 1, 8, raw.Mono), formattest.FITSOptions{Bits: 8})[0],
		"32 bit floating-point, others are":                            stillsOf(t, film, formattest.FITSOptions{Bits: -32})[0],
		"holds 4 frames, and the pictures of a sequence":               cube,
	} {
		if _, _, _, _, err := laidOut(t, pipelinetest.Pictures{pics[0], odd}, encodingAuto); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// What means 0 is worked by hand: 0 − BZERO over BSCALE, or the nearest that the kind of number holds.
func TestBlacken(t *testing.T) {
	for _, c := range []struct {
		l    raw.Layout
		want []byte
	}{
		{raw.Layout{SampleBytes: 2, Kind: raw.Signed, Zero: 32768}, []byte{0x80, 0}},
		{raw.Layout{SampleBytes: 2, Kind: raw.Signed, Zero: 300, Scale: 0.5}, []byte{0xfd, 0xa8}}, // −600
		{raw.Layout{SampleBytes: 2, Kind: raw.Signed, Zero: -1e9}, []byte{0x7f, 0xff}},
		{raw.Layout{SampleBytes: 4, Kind: raw.Signed, Zero: 1 << 31}, []byte{0x80, 0, 0, 0}},
		{raw.Layout{SampleBytes: 8, Kind: raw.Signed, Zero: -1e30}, []byte{0x7f, 255, 255, 255, 255, 255, 255, 255}},
		{raw.Layout{SampleBytes: 1, Zero: -128}, []byte{128}}, {raw.Layout{SampleBytes: 1, Zero: 9}, []byte{0}},
		{raw.Layout{SampleBytes: 4, Kind: raw.Float, Zero: -1}, binary.BigEndian.AppendUint32(nil, math.Float32bits(1))},
	} {
		frame := make([]byte, 16)
		if blacken(c.l, frame); !bytes.Equal(frame, bytes.Repeat(c.want, 16/len(c.want))) {
			t.Errorf("%+v: %x, want %x", c.l, frame, c.want)
		}
	}
}

// astropyStills writes three pictures of a second each, with the times that astropy reckons of their middles beside the samples.
const astropyStills = `
import sys, numpy
from astropy.io import fits
from astropy.time import Time, TimeDelta
d = sys.argv[1]
k, y, x = numpy.mgrid[0:3, 0:16, 0:24]
base = ((k * 131 + y * 1037 + x * 411) % 60000 + 5000).astype("u2")
for i, scale in enumerate(["utc", "tai", "tt"]):
    t = Time("2026-03-01T20:15:%02d.250" % (i + 1), scale="utc")
    h = fits.PrimaryHDU(base[i])
    h.header["TIMESYS"] = scale.upper(); h.header["DATE-OBS"] = getattr(t, scale).isot; h.header["EXPTIME"] = 1.0
    h.writeto(d + "/m_%d.fits" % i, output_verify="exception", checksum=True)
    print((t + TimeDelta(0.5, format="sec")).utc.isot)
base[:, ::-1, :].astype("<u2").tofile(d + "/samples")
`

// Pictures that astropy writes are read as it does, in three scales of time.
func TestAstropyStills(t *testing.T) {
	python := outsidetest.Python(t, "astropy.time, astropy.io.fits")
	dir := t.TempDir()
	said, err := exec.Command(python, "-c", astropyStills, dir).Output()
	if err != nil {
		t.Fatal(err)
	}
	var pics pipelinetest.Pictures
	for i := range 3 {
		b, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("m_%d.fits", i)))
		if err != nil {
			t.Fatal(err)
		}
		pics = append(pics, b)
	}
	x, file, _ := indexLaid(t, pics)
	for i, line := range strings.Fields(string(said)) {
		want, err := time.Parse("2006-01-02T15:04:05", line)
		if err != nil {
			t.Fatal(err)
		}
		if off := time.Duration(x.TimesUnixNS[i] - want.UnixNano()); off.Abs() > time.Millisecond { // they print milliseconds
			t.Errorf("picture %d: %v off %s", i, off, line)
		}
	}
	want, err := os.ReadFile(filepath.Join(dir, "samples"))
	if err != nil {
		t.Fatal(err)
	}
	x.White = 1
	for i, v := range framesOf(t, file, x) {
		if w := binary.LittleEndian.Uint16(want[2*i:]); v != float32(w) {
			t.Fatalf("sample %d is %v, want %d", i, v, w)
		}
	}
}
