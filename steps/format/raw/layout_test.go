package raw

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
)

// read decodes a frame with white at 1.
func read(t *testing.T, l Layout, file []byte, frame int) [][]float32 {
	t.Helper()
	r, err := NewReader(bytes.NewReader(file), int64(len(file)), l)
	if err != nil {
		t.Fatal(err)
	}
	dst := make([][]float32, l.Planes)
	for p := range dst {
		dst[p] = make([]float32, l.Width*l.Height)
	}
	if err := r.Frame(frame, 1, dst); err != nil {
		t.Fatal(err)
	}
	return dst
}

// TestOddRowsByHand decodes frames whose rows do not simply follow each other, or whose samples are not plain.
func TestOddRowsByHand(t *testing.T) {
	grey := make([]byte, 256)
	for i := range grey {
		grey[i] = byte(255 - i)
	}
	for _, c := range []struct {
		name string
		l    Layout
		body []byte
		want string
	}{
		{"filled rows", Layout{Width: 3, Height: 2, Planes: 1, SampleBytes: 1, Pattern: Mono, RowStride: 4, Stride: 7}, []byte{1, 2, 3, 99, 4, 5, 6}, "[[1 2 3 4 5 6]]"},
		{"from the bottom", Layout{Width: 2, Height: 3, Planes: 1, SampleBytes: 1, Pattern: Mono, BottomUp: true, Stride: 6}, []byte{1, 2, 3, 4, 5, 6}, "[[5 6 3 4 1 2]]"},
		{"filled, from the bottom, BGR", Layout{Width: 1, Height: 2, Planes: 3, SampleBytes: 1, Pattern: BGR, RowStride: 4, BottomUp: true, Stride: 7}, []byte{1, 2, 3, 99, 4, 5, 6}, "[[6 3] [5 2] [4 1]]"},
		{"planar, from the bottom", Layout{Width: 1, Height: 2, Planes: 3, SampleBytes: 1, Pattern: RGB, Planar: true, BottomUp: true, Stride: 6}, []byte{1, 2, 3, 4, 5, 6}, "[[2 1] [4 3] [6 5]]"},
		{"palette", Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Pattern: Mono, Grey: grey, Stride: 2}, []byte{0, 250}, "[[255 5]]"},
		{"less 32768", Layout{Width: 3, Height: 1, Planes: 1, SampleBytes: 2, BigEndian: true, Kind: Signed, Zero: 32768, Pattern: Mono, Stride: 6}, []byte{0x80, 0, 0, 0, 0x7f, 0xff}, "[[0 32768 65535]]"},
		{"less 32768, little", Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 2, Kind: Signed, Zero: 32768, Pattern: Mono, Stride: 4}, []byte{1, 0x80, 2, 0}, "[[1 32770]]"},
		{"less 128", Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Kind: Signed, Zero: 128, Pattern: Mono, Stride: 2}, []byte{0x80, 0x7f}, "[[0 255]]"},
		{"signed 8", Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Kind: Signed, Pattern: Mono, Stride: 2}, []byte{0x80, 0x7f}, "[[-128 127]]"},
		{"signed 16", Layout{Width: 1, Height: 1, Planes: 1, SampleBytes: 2, BigEndian: true, Kind: Signed, Pattern: Mono, Stride: 2}, []byte{0xff, 0xfe}, "[[-2]]"},
		{"signed 32, scaled", Layout{Width: 1, Height: 1, Planes: 1, SampleBytes: 4, BigEndian: true, Kind: Signed, Scale: 0.5, Zero: 3, Pattern: Mono, Stride: 4}, []byte{0, 0, 1, 0}, "[[131]]"},
		{"signed 64", Layout{Width: 1, Height: 1, Planes: 1, SampleBytes: 8, Kind: Signed, Pattern: Mono, Stride: 8}, []byte{7, 0, 0, 0, 0, 0, 0, 0}, "[[7]]"},
		{"unsigned 16, scaled", Layout{Width: 1, Height: 1, Planes: 1, SampleBytes: 2, Scale: 2, Pattern: Mono, Stride: 2}, []byte{0xff, 0xff}, "[[131070]]"},
		{"float", Layout{Width: 1, Height: 1, Planes: 1, SampleBytes: 4, BigEndian: true, Kind: Float, Pattern: Mono, Stride: 4}, []byte{0x3f, 0xc0, 0, 0}, "[[1.5]]"},
		{"double, planar", Layout{Width: 1, Height: 1, Planes: 3, SampleBytes: 8, BigEndian: true, Kind: Float, Pattern: RGB, Planar: true, Stride: 24},
			[]byte{0x3f, 0xf8, 0, 0, 0, 0, 0, 0, 0xbf, 0xf8, 0, 0, 0, 0, 0, 0, 0x7f, 0xef, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, "[[1.5] [-1.5] [0]]"}, // no float32 is so large
	} {
		if got := fmt.Sprint(read(t, c.l, c.body, 0)); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// Frames at unequal distances are found by their runs.
func TestRuns(t *testing.T) {
	l := Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Pattern: Mono}
	s := NewSequence(2)
	for _, at := range []int64{1, 5, 9, 20, 30, 32} {
		if !s.Add(at, 1, 0) {
			t.Fatalf("byte %d is refused", at)
		}
	}
	if s.Add(33, 1, 0) || s.Add(0, 1, 0) || s.Add(40, 2, 1) {
		t.Error("frames that overlap are taken")
	}
	if !s.Add(34, 3, 4) || s.Frames() != 9 {
		t.Errorf("%d frames", s.Frames())
	}
	s.Place(&l, 7)
	file := make([]byte, 44)
	for i := range file {
		file[i] = byte(i)
	}
	for i, at := range []float32{1, 5, 9, 20, 30, 32, 34, 38, 42} {
		if got := read(t, l, file, i); got[0][0] != at || got[0][1] != at+1 {
			t.Errorf("frame %d: %v, want %v at first", i, got, at)
		}
	}
	for size, want := range map[int64]int64{0: 0, 2: 0, 3: 1, 10: 2, 11: 3, 21: 3, 22: 4, 31: 4, 34: 6, 36: 7, 40: 8, 44: 9} {
		if got := l.Frames(size); got != want {
			t.Errorf("%d bytes hold %d frames, want %d; runs %v", size, got, want, l.Runs)
		}
	}
}

// A sequence of a hundred thousand frames at equal distances is one run, and no list.
func TestEqualDistancesAreOneRun(t *testing.T) {
	s := NewSequence(10)
	for i := range int64(100_000) {
		s.Add(100+18*i, 1, 0)
	}
	var l Layout
	if s.Place(&l, 0); l.Runs != nil || l.Offset != 100 || l.Stride != 18 {
		t.Errorf("%+v", l)
	}
}

// What is usual is not written into an index, so that one of old reads as it was.
func TestUsualLayoutsAsBefore(t *testing.T) {
	b, err := json.Marshal(Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Pattern: Mono, Offset: 178, Stride: 2})
	want := `{"width":2,"height":1,"planes":1,"sample_bytes":1,"big_endian":false,"pattern":"mono","offset":178,"stride":2}`
	if err != nil || string(b) != want {
		t.Errorf("%s (%v)", b, err)
	}
}

func TestOddLayoutsAreRefused(t *testing.T) {
	ok := Layout{Width: 2, Height: 2, Planes: 1, SampleBytes: 1, Pattern: Mono, Stride: 4}
	for want, change := range map[string]func(*Layout){
		`samples of the kind "x"`:                     func(l *Layout) { l.Kind = "x" },
		`3 bytes a sample of the kind "int"`:          func(l *Layout) { l.Kind, l.SampleBytes = Signed, 3 },
		`2 bytes a sample of the kind "float"`:        func(l *Layout) { l.Kind, l.SampleBytes = Float, 2 },
		"a palette of 3 greys":                        func(l *Layout) { l.Grey = []byte{1, 2, 3} },
		"samples that mean 0 + NaN":                   func(l *Layout) { l.Scale = math.NaN() },
		"samples that mean +Inf + 0":                  func(l *Layout) { l.Zero = math.Inf(1) },
		"a row every 1 bytes":                         func(l *Layout) { l.RowStride = 1 },
		"a row every 9000 bytes":                      func(l *Layout) { l.RowStride, l.Stride = 9000, 1<<20 },
		"less than the 10 bytes":                      func(l *Layout) { l.RowStride = 8 },
		"run 0 begins with frame 1":                   func(l *Layout) { l.Runs = []Run{{1, 0, 4}} },
		"run 0: a frame every 3 bytes":                func(l *Layout) { l.Runs = []Run{{0, 0, 3}} },
		"run 1 begins with frame 2 at byte 7":         func(l *Layout) { l.Runs = []Run{{0, 0, 4}, {2, 7, 4}} },
		"run 1 begins with frame 0":                   func(l *Layout) { l.Runs = []Run{{0, 0, 4}, {0, 8, 4}} },
		"run 1 begins with frame 9223372036854775807": func(l *Layout) { l.Runs = []Run{{0, 0, 4}, {math.MaxInt64, 8, 4}} },
	} {
		l := ok
		change(&l)
		if err := l.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
}

// What numbers reach is told by few whites, whatever the brightness.
func TestReach(t *testing.T) {
	for _, c := range []struct {
		l    Layout
		b    []byte
		want float64
	}{
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x3e, 0x80, 0, 0}, 1},            // 0.25
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x42, 0xc8, 0, 0}, 65535},        // 100
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x3f, 0xc0, 0, 0}, 1},            // 1.5
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x41, 0x70, 0, 0}, 1},            // 15
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x47, 0xc3, 0x50, 0}, 65535},     // 100,000
		{Layout{SampleBytes: 4, Kind: Float}, []byte{0x49, 0x74, 0x24, 0}, 1<<32 - 1}, // 1,000,000
		{Layout{SampleBytes: 4, Kind: Signed}, []byte{0, 0, 0, 1}, 65535},
		{Layout{SampleBytes: 4, Kind: Signed}, []byte{0, 1, 0, 0}, 1<<31 - 1},
		{Layout{SampleBytes: 4, Kind: Signed, Zero: 1 << 31}, []byte{0, 1, 0, 0}, 1<<32 - 1},
		{Layout{SampleBytes: 2, Kind: Signed}, []byte{0, 1}, 1<<15 - 1},
		{Layout{SampleBytes: 2, Kind: Signed, Scale: 1e-4}, []byte{0, 1}, 1},
	} {
		l := c.l
		l.Width, l.Height, l.Planes, l.Pattern, l.BigEndian, l.Stride = 1, 1, 1, Mono, true, int64(l.SampleBytes)
		e, err := Sample(bytes.NewReader(c.b), l, 1)
		if err != nil {
			t.Fatal(err)
		}
		was := read(t, l, c.b, 0)[0][0]
		if got := read(t, e.Spread(l), c.b, 0)[0][0]; math.Abs(float64(got)-float64(was)*65535/c.want) > 1e-3 {
			t.Errorf("%+v: %v is spread to %v, want %v", c.l, was, got, float64(was)*65535/c.want)
		}
	}
}

// Clips, pictures and panels of one night share a white, though some reach above it.
func TestFloatWhite(t *testing.T) {
	for most, want := range map[float64]float64{0: 1, 0.2: 1, 1: 1, 1.31: 1, 1.6: 1, 16: 1, 17: 65535, 300: 65535, 65535: 65535, 131070: 65535, 131071: 1<<32 - 1, 1e9: 1<<32 - 1, 1e10: 1e10} {
		if got := FloatWhite(most); got != want {
			t.Errorf("samples up to %g: white is %g, want %g", most, got, want)
		}
	}
}
