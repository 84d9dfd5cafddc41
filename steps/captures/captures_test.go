package captures

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"plenilune/pipeline"
	"plenilune/pipeline/pipelinetest"
	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/ser"
)

var night = time.Date(2025, 3, 6, 20, 0, 0, 123e6, time.UTC)

// recording makes a file of n frames with a ramp up to 0.9 of white and a fine grain.
func recording(t *testing.T, h ser.Header, n int, times []time.Time) []byte {
	t.Helper()
	h.Frames = int32(n)
	var b bytes.Buffer
	w, err := ser.NewWriter(&b, h)
	if err != nil {
		t.Fatal(err)
	}
	l := h.Layout()
	f := make([]uint16, l.Width*l.Height*l.Planes)
	for i := range f {
		f[i] = uint16((i*(1<<h.Depth-1)/len(f)*9/10 + i*i%7) & (1<<h.Depth - 1))
	}
	for range n {
		if err := w.AddFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(times); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func stamps(n int) []time.Time {
	out := make([]time.Time, n)
	for i := range out {
		out[i] = night.Add(time.Duration(i) * 20 * time.Millisecond)
	}
	return out
}

func run(t *testing.T, file []byte, s partSettings) (Index, *pipelinetest.Result) {
	t.Helper()
	r := pipelinetest.Run(t, indexPart(pipeline.Item{}, s), map[string][]any{"file": {pipelinetest.File(file)}})
	var x Index
	r.Table("index", &x)
	return x, r
}

func codes(r *pipelinetest.Result) (out []string) {
	for _, w := range r.Warnings {
		out = append(out, w.Code)
	}
	return out
}

var auto = partSettings{ByteOrder: "auto", Timed: true}

func TestIndex(t *testing.T) {
	h := ser.Header{Color: ser.BayerGRBG, LittleFlag: 1, Width: 20, Height: 10, Depth: 12, UTC: ser.TicksOf(night)}
	x, r := run(t, recording(t, h, 3, stamps(3)), auto)
	want := Index{
		Layout: raw.Layout{Width: 20, Height: 10, Planes: 1, SampleBytes: 2, Pattern: "GRBG", Offset: 178, Stride: 400},
		Frames: 3, Declared: 3, Depth: 12, White: 4095,
		TimesUnixNS: []int64{night.UnixNano(), night.UnixNano() + 20e6, night.UnixNano() + 40e6}, StartUnixNS: night.UnixNano(), TimeSource: "trailer", Level: x.Level,
		FilePattern: "GRBG",
	}
	if math.Abs(x.Level-0.45) > 0.005 {
		t.Errorf("mean level %g of a ramp up to 0.9 of white", x.Level)
	}
	if !reflect.DeepEqual(x, want) {
		t.Errorf("index is %+v, want %+v", x, want)
	}
	if len(r.Warnings) != 0 {
		t.Errorf("warnings %v for a file in order", r.Warnings)
	}
}

// TestTableNames holds the names that later steps read the index by.
func TestTableNames(t *testing.T) {
	b, err := json.Marshal((&capture{clip: &raw.Clip{}}).index())
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"layout", "frames", "declared", "cut_short", "depth", "white", "times_unix_ns", "start_unix_ns", "time_source", "empty"} {
		if !strings.Contains(string(b), `"`+name+`":`) {
			t.Errorf("no %q in %s", name, b)
		}
	}
	if !strings.Contains(string(b), `"times_unix_ns":[]`) {
		t.Errorf("unknown times must be an empty list: %s", b)
	}
}

func TestWarnings(t *testing.T) {
	mono := ser.Header{LittleFlag: 1, Width: 30, Height: 20, Depth: 16, UTC: ser.TicksOf(night)}
	whole := recording(t, mono, 4, stamps(4))
	flag := func(b []byte, v byte) []byte {
		b = bytes.Clone(b)
		b[22] = v
		return b
	}
	count := func(b []byte, n byte) []byte {
		b = bytes.Clone(b)
		b[38] = n
		return b
	}
	noTime := mono
	noTime.UTC = 0
	for _, c := range []struct {
		name string
		file []byte
		s    partSettings
		want []string
		ok   func(Index) bool
	}{
		{"cut", whole[:len(whole)-100], auto, []string{"clip-cut-short"}, func(x Index) bool { return x.Frames == 3 && x.Declared == 4 && x.CutShort && x.TimeSource == "header" }},
		{"empty", recording(t, mono, 0, nil), auto, []string{"clip-empty"}, func(x Index) bool { return x.Empty && x.Frames == 0 }},
		{"unfinished", count(recording(t, mono, 4, nil), 0), auto, []string{"clip-unfinished"}, func(x Index) bool { return x.Frames == 4 && x.Declared == 0 }},
		{"longer", count(recording(t, mono, 4, nil), 2), auto, []string{"clip-longer"}, func(x Index) bool { return x.Frames == 2 }},
		{"flag turned round", flag(whole, 0), auto, []string{"clip-byte-order"}, func(x Index) bool { return !x.Layout.BigEndian }},
		{"flag obeyed on demand", flag(whole, 0), partSettings{ByteOrder: "big"}, nil, func(x Index) bool { return x.Layout.BigEndian }},
		{"depth on demand", whole, partSettings{ByteOrder: "little", DepthBits: 10}, []string{"clip-depth"}, func(x Index) bool { return x.White == 65535 }},
		{"no time", recording(t, noTime, 4, nil), auto, []string{"clip-without-times"}, func(x Index) bool { return x.TimeSource == "" && x.StartUnixNS == 0 }},
		{"no time, none needed", recording(t, noTime, 4, nil), partSettings{ByteOrder: "auto"}, nil, func(x Index) bool { return len(x.TimesUnixNS) == 0 }},
	} {
		x, r := run(t, c.file, c.s)
		if got := codes(r); !slices.Equal(got, c.want) || !c.ok(x) {
			t.Errorf("%s: warnings %v, want %v; index %+v", c.name, r.Warnings, c.want, x)
		}
		for _, w := range r.Warnings {
			if !strings.Contains(w.Text, "{clip:") {
				t.Errorf("%s: the warning %q does not name the clip", c.name, w.Text)
			}
		}
	}
}

// TestOverexposed: from half a per cent of the bright ground on it is told, of clips
// alone.
func TestOverexposed(t *testing.T) {
	mono := ser.Header{LittleFlag: 1, Width: 40, Height: 50, Depth: 16, UTC: ser.TicksOf(night)}
	for _, c := range []struct {
		samples int // of 2,000, of which nearly half are bright ground
		s       partSettings
		want    []string
	}{
		{3, auto, nil}, {20, auto, []string{"clip-overexposed"}}, {2000, auto, []string{"clip-overexposed"}}, {20, partSettings{ByteOrder: "auto"}, nil},
	} {
		file := recording(t, mono, 1, stamps(1))
		for i := range c.samples {
			copy(file[178+2*(1999-i):], []byte{0xff, 0xff})
		}
		if _, r := run(t, file, c.s); !slices.Equal(codes(r), c.want) {
			t.Errorf("%d samples of 2,000 at white: warnings %v, want %v", c.samples, r.Warnings, c.want)
		}
	}
}

// TestUnreadable: one line that names the byte and what to do.
func TestUnreadable(t *testing.T) {
	p := indexPart(pipeline.Item{}, auto)
	for in, want := range map[string]string{
		"no clip": "byte 0: the file begins like no clip that is read (SER, AVI, FITS, pictures of PNG, TIFF and JPEG, films of FFmpeg's kinds); leave it out",
		"":        "byte 0: ",
	} {
		_, err := pipelinetest.New().Run(t, p, map[string][]any{"file": {pipelinetest.File([]byte(in))}})
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, want)
		}
	}
}

// TestSteps: both kinds of block have their files required and their defaults set.
func TestSteps(t *testing.T) {
	if got := MastersStep().New().(*Settings); got.ByteOrder != "auto" || got.DepthBits != 0 {
		t.Errorf("masters begin with %+v", got)
	}
	if got := ClipsStep().New().(*ClipSettings); got.ByteOrder != "auto" || got.DepthBits != 0 || got.Bayer != "auto" || got.Filter != nil {
		t.Errorf("clips begin with %+v", got)
	}
	for _, s := range []pipeline.Step{ClipsStep(), MastersStep()} {
		if s.Name != "captures" {
			t.Errorf("the step on %q is called %q", s.Block, s.Name)
		}
	}
}

// What the manifest says of the filters holds, not the header; samples are read as before.
func TestPatternOverruled(t *testing.T) {
	h := ser.Header{Color: ser.BayerGRBG, LittleFlag: 1, Width: 20, Height: 10, Depth: 12, UTC: ser.TicksOf(night)}
	f := recording(t, h, 3, stamps(3))
	x, _ := run(t, f, partSettings{ByteOrder: "auto", Timed: true, Bayer: "BGGR"})
	if x.Layout.Pattern != "BGGR" || x.FilePattern != "GRBG" || x.Sites != nil || x.White != 4095 {
		t.Errorf("index %+v", x)
	}
	x, _ = run(t, f, partSettings{ByteOrder: "auto", Timed: true, Bayer: "ignore"})
	if x.Layout.Pattern != "mono" || x.FilePattern != "GRBG" || x.Sites == nil || x.White != 4095 {
		t.Errorf("index %+v", x)
	}
	h.Color = ser.RGB
	_, r := run(t, recording(t, h, 3, stamps(3)), partSettings{ByteOrder: "auto", Timed: true, Bayer: "ignore"})
	if !slices.Contains(codes(r), "clip-bayer") {
		t.Errorf("warnings %v, want clip-bayer", codes(r))
	}
}

// Filters that a block states need squares of 2×2 px, like those that a header states.
func TestPatternOfALineIsRefused(t *testing.T) {
	h := ser.Header{Color: ser.Mono, Width: 20, Height: 1, Depth: 8, UTC: ser.TicksOf(night)}
	p := indexPart(pipeline.Item{}, partSettings{ByteOrder: "auto", Bayer: "RGGB"})
	_, err := pipelinetest.New().Run(t, p, map[string][]any{"file": {pipelinetest.File(recording(t, h, 3, nil))}})
	if err == nil || !strings.Contains(err.Error(), "a frame of 20×1 px behind the colour filters RGGB") {
		t.Errorf("error %v, want one that tells the size and the filters", err)
	}
}

// Of AVI and FITS the same is told as of SER, and what kind of file it is.
func TestOtherKinds(t *testing.T) {
	film := formattest.Scene(24, 16, 6, 16, raw.Mono)
	timed := film
	timed.Times = stamps(6)
	avi := func(f formattest.Film, o formattest.AVIOptions) []byte {
		b, err := formattest.AVI(f, o)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	fits := func(f formattest.Film, o formattest.FITSOptions) []byte {
		b, err := formattest.FITS(f, o)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	cut := func(b []byte, n int) []byte { return b[:len(b)-n] }
	empty := film
	empty.Frames = nil
	for _, c := range []struct {
		name, format string
		file         []byte
		want         []string
		ok           func(Index) bool
	}{
		{"AVI", "AVI, Y16, frames found by its index", avi(film, formattest.AVIOptions{Code: "Y16 "}), []string{"clip-without-times"},
			func(x Index) bool { return x.Frames == 6 && x.White == 65535 && !x.Layout.BigEndian }},
		{"AVI cut short", "AVI, Y16, frames found by a search", cut(avi(film, formattest.AVIOptions{Code: "Y16 ", NoIndex: true}), 900),
			[]string{"clip-cut-short", "clip-without-times"}, func(x Index) bool { return x.Frames == 4 && x.Declared == 6 && x.CutShort }},
		{"AVI never finished", "AVI, Y16, frames found by a search", avi(film, formattest.AVIOptions{Code: "Y16 ", NoIndex: true, Unfinished: true}),
			[]string{"clip-unfinished", "clip-without-times"}, func(x Index) bool { return x.Frames == 6 }},
		{"AVI with lost frames", "AVI, Y16, frames found by its index", avi(film, formattest.AVIOptions{Code: "Y16 ", Dropped: 3}),
			[]string{"clip-dropped-frames", "clip-without-times"}, func(x Index) bool { return x.Frames == 6 && !x.CutShort }},
		{"AVI without a frame", "AVI, Y16, frames found by a search", avi(empty, formattest.AVIOptions{Code: "Y16 "}), []string{"clip-empty"}, func(x Index) bool { return x.Empty }},
		{"FITS cube", "FITS, a cube", fits(timed, formattest.FITSOptions{Bits: 16}), nil,
			func(x Index) bool {
				return x.Frames == 6 && x.White == 65535 && x.Layout.BottomUp && slices.Equal(x.TimesUnixNS, timesOf(timed)) && x.TimeSource == "header"
			}},
		{"FITS cube cut short", "FITS, a cube", cut(fits(film, formattest.FITSOptions{Bits: 16}), 3000), []string{"clip-cut-short", "clip-without-times"},
			func(x Index) bool { return x.Frames == 3 && x.CutShort }},
		{"FITS of floats", "FITS, 6 pictures or cubes", fits(timed, formattest.FITSOptions{Bits: -32, Unit: true, Apart: true}), nil,
			func(x Index) bool {
				return x.Frames == 6 && x.White == 65535 && x.Depth == 16 && x.Layout.Scale == 65535
			}},
	} {
		x, r := run(t, c.file, auto)
		if got := codes(r); !slices.Equal(got, c.want) || !c.ok(x) {
			t.Errorf("%s: warnings %v, want %v; index %+v", c.name, r.Warnings, c.want, x)
		}
		if got := factText(r, "format"); got != c.format {
			t.Errorf("%s: told as %q, want %q", c.name, got, c.format)
		}
		if math.Abs(x.Level-0.4) > 0.15 && !x.Empty {
			t.Errorf("%s: mean level %g", c.name, x.Level)
		}
	}
	// An order of bytes stated for SER files changes nothing in kinds that have but one.
	x, r := run(t, fits(timed, formattest.FITSOptions{Bits: 16}), partSettings{ByteOrder: "little", Timed: true})
	if !x.Layout.BigEndian || len(r.Warnings) > 0 {
		t.Errorf("byte order: %+v, %v", x.Layout, r.Warnings)
	}
}

func timesOf(f formattest.Film) (out []int64) {
	for _, at := range f.Times {
		out = append(out, at.UnixNano())
	}
	return out
}

func factText(r *pipelinetest.Result, name string) string {
	for _, f := range r.Facts {
		if f.Name == name {
			return f.Text
		}
	}
	return ""
}
