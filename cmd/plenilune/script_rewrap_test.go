package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/clips"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/tiff"
)

// wraps are the kinds of file that rewrap writes, with their endings.
var wraps = map[string]struct {
	ending string
	write  func(formattest.Film) ([]byte, error)
}{
	"ser": {".ser", func(f formattest.Film) ([]byte, error) { return formattest.SER(f, false) }},
	"avi": {".avi", func(f formattest.Film) ([]byte, error) {
		return formattest.AVI(f, formattest.AVIOptions{Code: grey(f), Tight: true})
	}},
	"dib": {".AVI", func(f formattest.Film) ([]byte, error) { return formattest.AVI(f, formattest.AVIOptions{OpenDML: 5}) }},
	"fits": {".fits", func(f formattest.Film) ([]byte, error) {
		return formattest.FITS(f, formattest.FITSOptions{Bits: f.Bits})
	}},
	"apart": {".fit", func(f formattest.Film) ([]byte, error) {
		return formattest.FITS(f, formattest.FITSOptions{Bits: f.Bits, Apart: true})
	}},
	"topdown": {".fts", func(f formattest.Film) ([]byte, error) {
		return formattest.FITS(f, formattest.FITSOptions{Bits: f.Bits, TopDown: true})
	}},
	"packed": {".avi", func(f formattest.Film) ([]byte, error) { return formattest.AVI(f, formattest.AVIOptions{Code: "MJPG"}) }},
}

func grey(f formattest.Film) string {
	switch {
	case f.Pattern != raw.Mono:
		return f.Pattern
	case f.Bits > 8:
		return "Y16 "
	}
	return "Y800"
}

// coloured makes colours of a film's greys, as different as those of the ground are.
func coloured(f formattest.Film) formattest.Film {
	out := f
	out.Pattern, out.Frames = raw.RGB, nil
	for _, pix := range f.Frames {
		var all []uint16
		for _, v := range pix {
			all = append(all, v, v-v/8, v-v/4)
		}
		out.Frames = append(out.Frames, all)
	}
	return out
}

// scriptRewrap writes SER files anew as another kind, frame by frame, and removes them: rewrap KIND
// [untimed|timed] [RGB or GBRG, taken for such] FILE…, patterns too.
func scriptRewrap(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: rewrap KIND [untimed|timed] [RGB|GBRG] FILE…")
	}
	wrap, ok := wraps[args[0]]
	if !ok {
		ts.Fatalf("no kind %s", args[0])
	}
	files := args[1:]
	option := func(name string) bool {
		is := files[0] == name
		if is {
			files = files[1:]
		}
		return is
	}
	untimed, timed, rgb, gbrg := option("untimed"), option("timed"), option(raw.RGB), option(raw.GBRG)
	var paths []string
	for _, a := range files {
		found, err := filepath.Glob(ts.MkAbs(a))
		ts.Check(err)
		paths = append(paths, found...)
	}
	if len(paths) == 0 {
		ts.Fatalf("no file matches %v", files)
	}
	for k, p := range paths {
		b, err := os.ReadFile(p)
		ts.Check(err)
		c, err := clips.Open(bytes.NewReader(b), int64(len(b)))
		ts.Check(err)
		seen, err := raw.Sample(bytes.NewReader(b), c.Layout, c.Frames)
		ts.Check(err)
		c.Layout.BigEndian, _ = seen.Order(c.Depth, c.Layout.BigEndian)
		film, err := formattest.Read(b, c)
		ts.Check(err)
		if untimed {
			film.Times = nil
		}
		if timed {
			film.Times = nil
			for i := range film.Frames {
				film.Times = append(film.Times, time.Date(2024, 3, 19, 20, k, 0, i*20e6, time.UTC))
			}
		}
		if rgb {
			film = coloured(film)
		}
		if gbrg {
			film.Pattern = raw.GBRG
		}
		b = keepingOrder(ts, sha256.Sum256(b)[0], film, wrap.write)
		ts.Check(os.Remove(p))
		p = strings.TrimSuffix(p, filepath.Ext(p)) + wrap.ending
		ts.Check(os.WriteFile(p, b, 0o666))
		old := time.Now().Add(-time.Hour)
		ts.Check(os.Chtimes(p, old, old))
	}
}

// keepingOrder writes a film with a note by which its SHA-256 begins with the byte given: panels are
// joined in the order of their files' content, and that is to stay.
func keepingOrder(ts *testscript.TestScript, first byte, film formattest.Film, write func(formattest.Film) ([]byte, error)) []byte {
	film.Note = "note 0000"
	b, err := write(film)
	ts.Check(err)
	at := bytes.Index(b, []byte(film.Note))
	for k := range 10000 {
		copy(b[at:], fmt.Sprintf("note %04d", k))
		if sha256.Sum256(b)[0] == first {
			return b
		}
	}
	ts.Fatalf("no note gives a SHA-256 that begins with %02x", first)
	return nil
}

// scriptSamePixels fails unless two pictures, TIFF or PNG, are of one size and hold the same samples, bit for bit, whatever their
// records say: samepixels A B.
func scriptSamePixels(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: samepixels A B")
	}
	samples := func(name string) any {
		b, err := os.ReadFile(ts.MkAbs(name))
		ts.Check(err)
		if filepath.Ext(name) == ".png" {
			m, err := png.Decode(bytes.NewReader(b))
			ts.Check(err)
			return m
		}
		f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
		ts.Check(err)
		ts.Check(f.Load(1 << 30))
		rows := make([][]uint32, f.Height)
		row := make([]float32, f.Width*f.Channels)
		for y := range rows {
			f.Row(y, row)
			for _, v := range row {
				rows[y] = append(rows[y], math.Float32bits(v)) // NaN is like itself
			}
		}
		return []any{f.Sample, f.Channels, rows}
	}
	if same := reflect.DeepEqual(samples(args[0]), samples(args[1])); same == neg {
		ts.Fatalf("%v hold the same samples: %v", args, same)
	}
}
