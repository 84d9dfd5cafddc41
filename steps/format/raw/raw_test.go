package raw

import (
	"bytes"
	"math"
	"strings"
	"sync"
	"testing"
)

// TestFrameByHand decodes frames written out byte by byte.
func TestFrameByHand(t *testing.T) {
	head := []byte{9, 9, 9} // what stands before the frames
	cases := []struct {
		name  string
		l     Layout
		body  []byte
		frame int
		white float64
		want  [][]float32
	}{
		{"mono 8 bit", Layout{Width: 2, Height: 2, Planes: 1, SampleBytes: 1, Pattern: Mono, Stride: 4},
			[]byte{0, 51, 102, 255}, 0, 255, [][]float32{{0, 0.2, 0.4, 1}}},
		{"filter 16 bit, little", Layout{Width: 2, Height: 2, Planes: 1, SampleBytes: 2, Pattern: GBRG, Stride: 8},
			[]byte{0x01, 0x02, 0xff, 0x0f, 3, 0, 0, 4}, 0, 1, [][]float32{{0x0201, 0x0fff, 3, 0x0400}}},
		{"filter 16 bit, big", Layout{Width: 2, Height: 2, Planes: 1, SampleBytes: 2, BigEndian: true, Pattern: GBRG, Stride: 8},
			[]byte{0x01, 0x02, 0xff, 0x0f, 3, 0, 0, 4}, 0, 1, [][]float32{{0x0102, 0xff0f, 0x0300, 4}}},
		{"RGB 8 bit", Layout{Width: 2, Height: 1, Planes: 3, SampleBytes: 1, Pattern: RGB, Stride: 6},
			[]byte{1, 2, 3, 4, 5, 6}, 0, 1, [][]float32{{1, 4}, {2, 5}, {3, 6}}},
		{"BGR 16 bit, second frame, gap", Layout{Width: 1, Height: 1, Planes: 3, SampleBytes: 2, Pattern: BGR, Stride: 8},
			[]byte{0, 0, 0, 0, 0, 0, 7, 7, 1, 0, 2, 0, 3, 1}, 1, 1, [][]float32{{0x103}, {2}, {1}}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.l.Offset = int64(len(head))
			file := append(bytes.Clone(head), c.body...)
			r, err := NewReader(bytes.NewReader(file), int64(len(file)), c.l)
			if err != nil {
				t.Fatal(err)
			}
			got := make([][]float32, c.l.Planes)
			for i := range got {
				got[i] = make([]float32, c.l.Width*c.l.Height)
			}
			if err := r.Frame(c.frame, c.white, got); err != nil {
				t.Fatal(err)
			}
			for p := range got {
				for i := range got[p] {
					if got[p][i] != c.want[p][i] {
						t.Errorf("plane %d sample %d = %v, want %v", p, i, got[p][i], c.want[p][i])
					}
				}
			}
		})
	}
}

// TestFrameCount holds the count of whole frames against a file cut anywhere.
func TestFrameCount(t *testing.T) {
	l := Layout{Width: 3, Height: 2, Planes: 1, SampleBytes: 1, Pattern: Mono, Offset: 5, Stride: 10}
	for size, want := range map[int64]int64{0: 0, 5: 0, 10: 0, 11: 1, 20: 1, 21: 2, 24: 2, 31: 3} {
		if got := l.Frames(size); got != want {
			t.Errorf("%d bytes hold %d frames, want %d", size, got, want)
		}
	}
}

func TestFaultsSayWhere(t *testing.T) {
	ok := Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Pattern: Mono, Stride: 2}
	bad := map[string]func(*Layout){
		"0×1 px":                                func(l *Layout) { l.Width = 0 },
		"2×2097152 px":                          func(l *Layout) { l.Height = 1 << 21 },
		"3 bytes a sample":                      func(l *Layout) { l.SampleBytes = 3 },
		`3 samples a pixel`:                     func(l *Layout) { l.Planes = 3 },
		`the pattern "XYZ"`:                     func(l *Layout) { l.Pattern = "XYZ" },
		"2×1 px behind the colour filters RGGB": func(l *Layout) { l.Pattern = RGGB },
		"1×2 px behind the colour filters MYYC": func(l *Layout) { l.Pattern, l.Width, l.Height = MYYC, 1, 2 },
		"before the file":                       func(l *Layout) { l.Offset = -1 },
		"less than the 2 bytes":                 func(l *Layout) { l.Stride = 1 },
		"a frame every -2 bytes:":               func(l *Layout) { l.Stride = -2 },
	}
	for want, change := range bad {
		l := ok
		change(&l)
		if _, err := NewReader(nil, 100, l); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	r, err := NewReader(bytes.NewReader([]byte{1, 2, 3}), 4, ok) // a file that shrank since it was measured
	if err != nil {
		t.Fatal(err)
	}
	dst := [][]float32{make([]float32, 2)}
	for frame, want := range map[int]string{-1: "frames 0…1", 2: "frames 0…1", 1: "at byte 2: unexpected EOF"} {
		if err := r.Frame(frame, 1, dst); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("frame %d: error %v, want one with %q", frame, err, want)
		}
	}
	if err := r.Frame(0, math.NaN(), dst); err == nil {
		t.Error("a white level that is not a number was accepted")
	}
}

// TestConcurrentFrames lets many goroutines share a reader; run it with -race.
func TestConcurrentFrames(t *testing.T) {
	const n = 64
	file := make([]byte, 2*n)
	for i := range n {
		file[2*i], file[2*i+1] = byte(i), byte(i+1)
	}
	r, err := NewReader(bytes.NewReader(file), int64(len(file)), Layout{Width: 2, Height: 1, Planes: 1, SampleBytes: 1, Pattern: Mono, Stride: 2})
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			dst := [][]float32{make([]float32, 2)}
			if err := r.Frame(i, 1, dst); err != nil || dst[0][0] != float32(i) || dst[0][1] != float32(i+1) {
				t.Errorf("frame %d = %v, %v", i, dst[0], err)
			}
		})
	}
	wg.Wait()
}

func BenchmarkFrame(b *testing.B) {
	const w, h = 640, 480
	for name, l := range map[string]Layout{
		"8 bit":            {Planes: 1, SampleBytes: 1, Pattern: Mono},
		"8 bit, DIB":       {Planes: 1, SampleBytes: 1, Pattern: Mono, BottomUp: true},
		"16 bit":           {Planes: 1, SampleBytes: 2, Pattern: Mono},
		"16 bit, FITS":     {Planes: 1, SampleBytes: 2, Pattern: Mono, BigEndian: true, Kind: Signed, Zero: 32768, BottomUp: true},
		"float, FITS":      {Planes: 1, SampleBytes: 4, Pattern: Mono, BigEndian: true, Kind: Float, BottomUp: true},
		"24 bit, RGB":      {Planes: 3, SampleBytes: 1, Pattern: RGB},
		"24 bit, DIB":      {Planes: 3, SampleBytes: 1, Pattern: BGR, BottomUp: true, RowStride: 3*w + 2},
		"3 planes, FITS 8": {Planes: 3, SampleBytes: 1, Pattern: RGB, Planar: true, BottomUp: true},
	} {
		b.Run(name, func(b *testing.B) {
			l.Width, l.Height = w, h
			l.Stride = l.Span()
			file := make([]byte, l.Span())
			r, err := NewReader(bytes.NewReader(file), int64(len(file)), l)
			if err != nil {
				b.Fatal(err)
			}
			dst := make([][]float32, l.Planes)
			for p := range dst {
				dst[p] = make([]float32, w*h)
			}
			b.SetBytes(int64(len(file)))
			for b.Loop() {
				if err := r.Frame(0, 65535, dst); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
