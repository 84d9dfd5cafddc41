package clips

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"plenilune/steps/format/formattest"
	"plenilune/steps/format/raw"
)

// way is one way of writing frames down; every test of this file runs over all of them. To hold
// another kind of file to the same, add its ways.
type way struct {
	name  string
	bits  int
	pat   string
	write func(formattest.Film) ([]byte, error)
	times bool // holds the time of each frame
	head  int  // bytes that say what the file is, which are spoilt one by one
}

func ways() []way {
	var out []way
	patterns := func(name string, bits int, times bool, head int, write func(formattest.Film) ([]byte, error), patterns ...string) {
		for _, p := range patterns {
			out = append(out, way{fmt.Sprintf("%s, %d bit, %s", name, bits, p), bits, p, write, times, head})
		}
	}
	for _, bits := range []int{8, 16} {
		for _, big := range []bool{false, true} {
			patterns(fmt.Sprintf("SER, big-endian %v", big), bits, true, 178,
				func(f formattest.Film) ([]byte, error) { return formattest.SER(f, big) }, raw.Mono, raw.GBRG, raw.RGB)
		}
	}
	aviWay := func(name string, o formattest.AVIOptions, bits int, p ...string) {
		patterns("AVI, "+name, bits, false, 350, func(f formattest.Film) ([]byte, error) { return formattest.AVI(f, o) }, p...)
	}
	inverse := make([]byte, 256)
	for i := range inverse {
		inverse[i] = byte(255 - i)
	}
	aviWay("DIB", formattest.AVIOptions{}, 8, raw.Mono, raw.RGB)
	aviWay("DIB from the top", formattest.AVIOptions{TopDown: true}, 8, raw.Mono, raw.RGB)
	aviWay("DIB, tight", formattest.AVIOptions{Tight: true}, 8, raw.Mono, raw.RGB)
	aviWay("DIB without palette", formattest.AVIOptions{NoPalette: true}, 8, raw.Mono)
	aviWay("DIB, inverse palette", formattest.AVIOptions{Palette: inverse}, 8, raw.Mono)
	for _, code := range []string{"Y800", "GREY", "Y8  "} {
		aviWay(code, formattest.AVIOptions{Code: code, Tight: true}, 8, raw.Mono)
	}
	aviWay("Y800, filled rows", formattest.AVIOptions{Code: "Y800"}, 8, raw.Mono)
	aviWay("Y16", formattest.AVIOptions{Code: "Y16 ", Tight: true}, 16, raw.Mono)
	aviWay("GBRG", formattest.AVIOptions{Code: "GBRG", Tight: true}, 8, raw.GBRG)
	aviWay("no index", formattest.AVIOptions{Code: "Y800", NoIndex: true}, 8, raw.Mono)
	aviWay("index from the file's beginning", formattest.AVIOptions{FromFile: true}, 8, raw.Mono)
	aviWay("sound and lost frames", formattest.AVIOptions{Sound: 2, Dropped: 3}, 8, raw.Mono)
	aviWay("OpenDML", formattest.AVIOptions{OpenDML: 2}, 8, raw.Mono, raw.RGB)
	aviWay("OpenDML, sound and lost frames", formattest.AVIOptions{OpenDML: 2, Sound: 1, Dropped: 2}, 8, raw.Mono)
	aviWay("OpenDML, no index", formattest.AVIOptions{OpenDML: 3, NoIndex: true}, 8, raw.Mono)
	aviWay("never finished", formattest.AVIOptions{NoIndex: true, Unfinished: true}, 8, raw.Mono)

	fitsWay := func(name string, o formattest.FITSOptions, bits int, p ...string) {
		patterns(fmt.Sprintf("FITS %d, %s", o.Bits, name), bits, true, 900, func(f formattest.Film) ([]byte, error) { return formattest.FITS(f, o) }, p...)
	}
	fitsWay("cube", formattest.FITSOptions{Bits: 8}, 8, raw.Mono, raw.GBRG, raw.RGB)
	fitsWay("cube", formattest.FITSOptions{Bits: 16}, 16, raw.Mono, raw.GBRG, raw.RGB)
	fitsWay("cube from the top", formattest.FITSOptions{Bits: 16, TopDown: true}, 16, raw.Mono, raw.GBRG, raw.RGB)
	fitsWay("extensions", formattest.FITSOptions{Bits: 16, Apart: true}, 16, raw.Mono, raw.RGB)
	fitsWay("beginning and extensions", formattest.FITSOptions{Bits: 8, Pictures: true}, 8, raw.Mono)
	for _, bits := range []int{32, 64, -32, -64} {
		fitsWay("cube", formattest.FITSOptions{Bits: bits}, 16, raw.Mono, raw.RGB)
	}
	fitsWay("scaled", formattest.FITSOptions{Bits: 32, Scale: 0.25}, 16, raw.Mono)
	return out
}

var sizes = [][2]int{{7, 5}, {8, 6}, {2, 2}}

func film(w way, size [2]int, n int) formattest.Film {
	f := formattest.Scene(size[0], size[1], n, w.bits, w.pat)
	for i := range n {
		f.Times = append(f.Times, time.Date(2027, 3, 19, 20, 0, 0, 123_000_000, time.UTC).Add(time.Duration(i)*20*time.Millisecond))
	}
	return f
}

func each(t *testing.T, run func(t *testing.T, w way)) {
	for _, w := range ways() {
		t.Run(w.name, func(t *testing.T) { run(t, w) })
	}
}

func written(t *testing.T, w way, f formattest.Film) []byte {
	t.Helper()
	b, err := w.write(f)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// open opens a file in memory. Byte orders that a kind leaves open are stated rightly here.
func open(b []byte) (*raw.Clip, error) { return Open(bytes.NewReader(b), int64(len(b))) }

// The same pixels in, the same frames out, in the same order, with their times.
func TestSamePixels(t *testing.T) {
	each(t, func(t *testing.T, w way) {
		for _, size := range sizes {
			for _, n := range []int{1, 2, 7} {
				f := film(w, size, n)
				b := written(t, w, f)
				c, err := open(b)
				if err != nil {
					t.Fatalf("%v, %d frames: %v", size, n, err)
				}
				got, err := formattest.Read(b, c)
				if err != nil {
					t.Fatal(err)
				}
				if got.Pattern != w.pat || c.CutShort || c.Extra > 0 {
					t.Errorf("%v, %d frames: %+v", size, n, c)
				}
				if !reflect.DeepEqual(got.Frames, f.Frames) {
					t.Errorf("%v: %d frames came back as %d, or others", size, n, len(got.Frames))
				}
				if w.times && !slices.Equal(got.Times, f.Times) {
					t.Errorf("%v: times %v, want %v", size, got.Times, f.Times)
				}
				if (c.Start != 0) != w.times || (c.TimeSource != "") != w.times {
					t.Errorf("%v: begins at %d, told by the %q", size, c.Start, c.TimeSource)
				}
			}
		}
	})
}

// A file cut anywhere gives the frames that are whole in it, as they were, and never fewer than a shorter one.
func TestCutAnywhere(t *testing.T) {
	if testing.Short() {
		t.Skip("many files")
	}
	each(t, func(t *testing.T, w way) {
		f := film(w, sizes[0], 5)
		b := written(t, w, f)
		before := 0
		for n := 1; n <= len(b); n += 1 + n%3 + len(b)/1000 {
			c, err := open(b[:n])
			if err != nil {
				if before > 0 || strings.Contains(err.Error(), "\n") {
					t.Fatalf("%d of %d bytes: %v", n, len(b), err)
				}
				continue
			}
			if c.Frames < before || c.Frames > 5 || c.CutShort != (int64(c.Frames) < min(5, c.Declared)) && !strings.Contains(w.name, "lost") {
				t.Fatalf("%d of %d bytes: %d frames after %d, of %d, cut short %v", n, len(b), c.Frames, before, c.Declared, c.CutShort)
			}
			before = c.Frames
			got, err := formattest.Read(b[:n], c)
			if err != nil {
				t.Fatalf("%d bytes: %v", n, err)
			}
			if c.Frames > 0 && !reflect.DeepEqual(got.Frames, f.Frames[:c.Frames]) {
				t.Fatalf("%d bytes: frames differ", n)
			}
		}
		if c, err := open(b); err != nil || c.Frames != 5 {
			t.Errorf("the whole file: %v, %v", c, err)
		}
	})
}

// Whatever a head claims, what is found lies in the file, and memory stays small.
func TestHostileHeads(t *testing.T) {
	if testing.Short() {
		t.Skip("many files")
	}
	each(t, func(t *testing.T, w way) {
		whole := written(t, w, film(w, sizes[0], 3))
		var before, after runtime.MemStats
		for at := range min(w.head, len(whole)) {
			if whole[at] == ' ' && at > 0 && whole[at-1] == ' ' {
				continue // of long blanks the first
			}
			for _, v := range []byte{0, 0x7f, 0x80, 0xff, '9'} {
				b := bytes.Clone(whole)
				b[at] = v
				runtime.ReadMemStats(&before)
				c, err := Open(bytes.NewReader(b), int64(len(b)))
				runtime.ReadMemStats(&after)
				if took := after.TotalAlloc - before.TotalAlloc; took > 1<<20 {
					t.Fatalf("byte %d = %#x: %d bytes of memory for a file of %d", at, v, took, len(b))
				}
				if err != nil {
					continue
				}
				if int64(c.Frames)*c.Layout.Span() > int64(len(b)) {
					t.Fatalf("byte %d = %#x: %d frames of %d bytes in %d", at, v, c.Frames, c.Layout.Span(), len(b))
				}
				if _, err := formattest.Read(b, c); err != nil {
					t.Fatalf("byte %d = %#x: %v", at, v, err)
				}
			}
		}
	})
}

// Many may read at once, in any order; run it with -race.
func TestReadingSideBySide(t *testing.T) {
	each(t, func(t *testing.T, w way) {
		f := film(w, sizes[0], 16)
		b := written(t, w, f)
		c, err := open(b)
		if err != nil {
			t.Fatal(err)
		}
		r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), c.Layout)
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for g := range uint64(8) {
			wg.Go(func() {
				dst := make([][]float32, c.Layout.Planes)
				for p := range dst {
					dst[p] = make([]float32, f.Width*f.Height)
				}
				for _, i := range rand.New(rand.NewPCG(g, 1)).Perm(16) {
					if err := r.Frame(i, 1, dst); err != nil {
						t.Error(err)
						return
					}
					for k, v := range f.Frames[i] {
						if got := dst[k%len(dst)][k/len(dst)]; got != float32(v) {
							t.Errorf("frame %d, sample %d: %v, want %d", i, k, got, v)
							return
						}
					}
				}
			})
		}
		wg.Wait()
	})
}

// One kind alone claims a file.
func TestOneKindEach(t *testing.T) {
	each(t, func(t *testing.T, w way) {
		b := written(t, w, film(w, sizes[0], 1))
		for _, k := range Kinds() {
			if want := strings.HasPrefix(w.name, k.Name); k.Begins(b[:headBytes]) != want {
				t.Errorf("%s claims it: %v, want %v", k.Name, !want, want)
			}
		}
	})
}

// The same brightness has the same white, whatever kind of number it stands in.
func TestSameWhite(t *testing.T) {
	for _, o := range []formattest.FITSOptions{{Bits: 16}, {Bits: 32}, {Bits: 64}, {Bits: -32}, {Bits: -64}, {Bits: -32, Unit: true}, {Bits: -64, Unit: true}, {Bits: 32, Scale: 0.5}} {
		f := formattest.Scene(32, 24, 3, 16, raw.Mono)
		b, err := formattest.FITS(f, o)
		if err != nil {
			t.Fatal(err)
		}
		c, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		e, err := raw.Sample(bytes.NewReader(b), c.Layout, c.Frames)
		if err != nil {
			t.Fatal(err)
		}
		l := e.Spread(c.Layout)
		level := e.Level(c.Depth, l.BigEndian && l.Words())
		if level.White != 65535 {
			t.Errorf("%+v: white is %v", o, level.White)
		}
		r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), l)
		if err != nil {
			t.Fatal(err)
		}
		dst := [][]float32{make([]float32, 32*24)}
		if err := r.Frame(1, level.White, dst); err != nil {
			t.Fatal(err)
		}
		for i, v := range f.Frames[1] {
			if d := dst[0][i] - float32(v)/65535; d > 1e-7 || d < -1e-7 {
				t.Fatalf("%+v: sample %d is %v, want %v", o, i, dst[0][i], float32(v)/65535)
			}
		}
	}
}
