package ser

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestHeaderByHand lays a header out byte by byte, as the format description has it.
func TestHeaderByHand(t *testing.T) {
	h := Header{LuID: 7, Color: BayerGBRG, LittleFlag: 1, Width: 0x0201, Height: 0x0403, Depth: 12, Frames: 5,
		Observer: "Ada", Instrument: "cam", Telescope: "tube", Local: 0x0102030405060708, UTC: 0x1112131415161718}
	want := "4c5543414d2d5245434f52444552" + "07000000" + "0a000000" + "01000000" + "01020000" + "03040000" + "0c000000" + "05000000" +
		"416461" + strings.Repeat("00", 37) + "63616d" + strings.Repeat("00", 37) + "74756265" + strings.Repeat("00", 36) +
		"0807060504030201" + "1817161514131211"
	b := h.bytes()
	if got := hex.EncodeToString(b); got != want {
		t.Errorf("header is\n%s, want\n%s", got, want)
	}
	back, err := ParseHeader(b)
	if err != nil || back != h {
		t.Errorf("read back %+v, %v; want %+v", back, err, h)
	}
}

// TestTicks: 100 ns since the year 1, the unit and epoch of [MS-NRBF] 2.1.1.5;
// values counted with an independent calendar (numpy.datetime64).
func TestTicks(t *testing.T) {
	for stamp, want := range map[string]Ticks{
		"1970-01-01T00:00:00Z":     621355968000000000,
		"1992-04-12T00:00:00Z":     628386336000000000,
		"2000-01-01T12:00:00Z":     630823248000000000,
		"2024-01-01T00:00:00Z":     638396640000000000,
		"2025-03-06T20:00:00.123Z": 638768880001230000,
	} {
		at, err := time.Parse(time.RFC3339Nano, stamp)
		if err != nil {
			t.Fatal(err)
		}
		if got := TicksOf(at); got != want {
			t.Errorf("%s is %d ticks, want %d", stamp, got, want)
		}
		for _, kind := range []uint64{0, 1 << 62, 1 << 63, 3 << 62} { // the two flag bits some writers leave
			ns, ok := Ticks(uint64(want) | kind).UnixNano()
			if ok != (at.UnixNano() > 0) || ok && ns != at.UnixNano() {
				t.Errorf("%d with flags %x is %d ns, %v; want %d", want, kind>>62, ns, ok, at.UnixNano())
			}
		}
	}
	for _, absurd := range []Ticks{0, -1, 1, 3155378975999999999, 1<<62 - 1} { // not set; year 1; year 9999; beyond
		if ns, ok := absurd.UnixNano(); ok || ns != 0 {
			t.Errorf("%d ticks were believed: %d ns", absurd, ns)
		}
	}
}

// TestRoundTrip writes and reads every colour ID at every depth and flag, with
// the byte order left to the data.
func TestRoundTrip(t *testing.T) {
	for _, p := range patterns {
		for depth := 1; depth <= 16; depth++ {
			for flag := range int32(2) {
				h := Header{Color: p.id, LittleFlag: flag, Width: 13, Height: 11, Depth: int32(depth)}
				planes := h.Layout().Planes
				frames := scene(13, 11, 3, planes, 1<<depth-1, 1<<depth/64, 1)
				times := []time.Time{time.Unix(1.7e9, 100), time.Unix(1.7e9, 50_000_200), time.Unix(1.7e9+1, 0)}
				b := file(t, h, frames, times)
				f, e := measure(t, b)
				name := fmt.Sprintf("%s, %d bit, flag %d", p.pattern, depth, flag)
				if f.Frames != 3 || f.CutShort || f.Extra != 0 || f.Header.Frames != 3 || f.Layout.Pattern != p.pattern {
					t.Fatalf("%s: read as %+v", name, f)
				}
				l := f.Layout
				l.BigEndian, _ = e.Order(depth, !l.BigEndian && depth > 8) // a flag turned round must not matter
				for i := range frames {
					if !slices.Equal(readBack(t, b, l, i), frames[i]) {
						t.Fatalf("%s: frame %d differs", name, i)
					}
				}
				for i, at := range times {
					if f.Times[i] != at.UnixNano() {
						t.Errorf("%s: time %d is %d, want %d", name, i, f.Times[i], at.UnixNano())
					}
				}
			}
		}
	}
}

// TestCutAnywhere cuts a file at every byte: each whole frame before the cut must
// be there, and nothing else.
func TestCutAnywhere(t *testing.T) {
	h := Header{Width: 5, Height: 3, Depth: 8}
	frames := scene(5, 3, 4, 1, 255, 3, 2)
	times := make([]time.Time, 4)
	for i := range times {
		times[i] = time.Unix(1.7e9+int64(i), 0)
	}
	b := file(t, h, frames, times)
	for n := range len(b) + 1 {
		f, err := Open(bytes.NewReader(b[:n]), int64(n))
		if n < HeaderSize {
			if err == nil || n > 13 && !strings.Contains(err.Error(), fmt.Sprintf("byte %d: the file ends inside its header", n)) {
				t.Errorf("%d bytes: error %v", n, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("%d bytes: %v", n, err)
		}
		want := min(4, (n-HeaderSize)/15)
		if f.Frames != want || f.CutShort != (want < 4) || (f.Times != nil) != (n == len(b)) {
			t.Errorf("%d bytes: %d frames, cut %v, times %v; want %d frames", n, f.Frames, f.CutShort, f.Times, want)
		}
	}
}

func TestOddFiles(t *testing.T) {
	h := Header{Width: 4, Height: 2, Depth: 8, UTC: TicksOf(time.Unix(1.7e9, 0))}
	frames := scene(4, 2, 3, 1, 255, 3, 3)
	stamps := []time.Time{time.Unix(1.7e9, 0), time.Unix(1.7e9+1, 0), time.Unix(1.7e9+2, 0)}
	plain := file(t, h, frames, nil)
	count := func(b []byte, n int32) []byte {
		b = bytes.Clone(b)
		b[38], b[39], b[40], b[41] = byte(n), byte(n>>8), byte(n>>16), byte(n>>24)
		return b
	}
	local := h
	local.Local = h.UTC + 2*3600*1e7
	inLocal := []time.Time{time.Unix(1.7e9+7200, 0), time.Unix(1.7e9+7201, 0), time.Unix(1.7e9+7202, 0)}
	for _, c := range []struct {
		name   string
		file   []byte
		frames int
		check  func(*File) bool
	}{
		{"no frames", file(t, h, nil, nil), 0, func(f *File) bool { return !f.CutShort && !f.Unclosed }},
		{"never closed", count(plain, 0), 3, func(f *File) bool { return f.Unclosed && !f.CutShort }},
		{"negative count", count(plain, -1), 3, func(f *File) bool { return f.Unclosed }},
		{"absurd count", count(plain, 1<<31-1), 3, func(f *File) bool { return f.CutShort }},
		{"more than declared", count(plain, 2), 2, func(f *File) bool { return f.Extra == 8 && f.Times == nil }},
		{"bytes behind the trailer", append(file(t, h, frames, stamps), 1, 2, 3), 3, func(f *File) bool { return f.Extra == 3 && f.Times[2] == (1.7e9+2)*1e9 }},
		{"trailer of zeros", append(bytes.Clone(plain), make([]byte, 24)...), 3, func(f *File) bool {
			ns, from := f.Start()
			return f.Times == nil && ns == 1.7e9*1e9 && from == "header"
		}},
		{"trailer in local time", file(t, local, frames, inLocal), 3, func(f *File) bool {
			ns, from := f.Start()
			return f.TimesLocal && ns == 1.7e9*1e9 && from == "trailer" && f.Times[2] == (1.7e9+2)*1e9
		}},
		{"trailer in UTC beside a local header", file(t, local, frames, stamps), 3, func(f *File) bool { return !f.TimesLocal && f.Times[0] == 1.7e9*1e9 }},
	} {
		f, err := Open(bytes.NewReader(c.file), int64(len(c.file)))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if f.Frames != c.frames || !c.check(f) {
			t.Errorf("%s: read as %+v", c.name, *f)
		}
	}
}

// TestFaults: each names the byte and says what to do; none takes memory.
func TestFaults(t *testing.T) {
	good := Header{Width: 4, Height: 4, Depth: 8, Frames: 1}.bytes()
	set := func(at int, v int32) []byte {
		b := bytes.Clone(good)
		b[at], b[at+1], b[at+2], b[at+3] = byte(v), byte(v>>8), byte(v>>16), byte(v>>24)
		return b
	}
	for _, c := range []struct {
		file []byte
		want string
	}{
		{nil, "byte 0: the file does not begin with the mark of a SER video; leave it out"},
		{set(0, 0), "byte 0: "},
		{set(18, 3), "byte 18: colour ID 3 is none of the published ones (0 mono, 8 RGGB"},
		{set(26, 0), "byte 26: a width of 0 px"},
		{set(26, -1), "byte 26: a width of -1 px"},
		{set(30, 1<<31-1), "byte 30: a height of 2147483647 px"},
		{Header{Color: BayerRGGB, Width: 64, Height: 1, Depth: 8, Frames: 1}.bytes(), "header: a frame of 64×1 px behind the colour filters RGGB"},
		{set(34, 0), "byte 34: a depth of 0 bits"},
		{set(34, 17), "byte 34: a depth of 17 bits"},
	} {
		_, err := Open(bytes.NewReader(c.file), int64(len(c.file)))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, c.want)
		}
	}
	// The largest header that is believed, in a file of 178 bytes.
	b := set(26, 1<<20)
	copy(b[30:], []byte{0, 0, 16, 0})
	copy(b[38:], []byte{255, 255, 255, 127})
	f, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil || f.Frames != 0 || !f.CutShort {
		t.Errorf("a header without frames: %+v, %v", f, err)
	}
}

func TestWriterRefuses(t *testing.T) {
	h := Header{Width: 2, Height: 1, Depth: 10, Frames: 2}
	var m bytes.Buffer
	w, err := NewWriter(&m, h)
	if err != nil {
		t.Fatal(err)
	}
	for want, f := range map[string][]uint16{"3 samples, want 2": {1, 2, 3}, "sample 1 is 1024, more than 10 bits": {1, 1024}} {
		if err := w.AddFrame(f); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	if err := w.AddFrame([]uint16{1, 1023}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(make([]time.Time, 2)); err == nil {
		t.Error("two times for one frame were accepted")
	}
	if err := w.Close(nil); err == nil || !strings.Contains(err.Error(), "declares 2 frames, 1 were written") {
		t.Errorf("a wrong count in a stream that cannot go back: %v", err)
	}
	h.Observer = strings.Repeat("x", 41)
	if _, err := NewWriter(&m, h); err == nil {
		t.Error("an observer of 41 bytes was accepted")
	}
}
