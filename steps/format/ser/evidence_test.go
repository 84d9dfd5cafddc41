package ser

import (
	"bytes"
	"fmt"
	"testing"

	"plenilune/steps/format/raw"
)

// TestOrderFromSamples: whatever the flag says, the samples decide, for scenes
// bright and dim, at every true depth, right- and left-aligned in their words.
func TestOrderFromSamples(t *testing.T) {
	for _, color := range []ColorID{Mono, BayerRGGB, BGR} {
		for bits := 9; bits <= 16; bits++ {
			for _, share := range []int{1, 8, 64} { // of full scale
				for _, high := range []bool{false, true} {
					for _, declared := range []int{bits, 16} {
						for _, big := range []bool{false, true} {
							top := (1<<bits - 1) / share
							h := Header{Color: color, Width: 64, Height: 40, Depth: 16, LittleFlag: 1}
							if big {
								h.LittleFlag = 0
							}
							frames := scene(64, 40, 4, h.Layout().Planes, top, 3, 7)
							if high {
								frames = shifted(frames, 16-bits)
							}
							b := file(t, h, frames, nil)
							b[atDepth] = byte(declared)
							_, e := measure(t, b)
							name := fmt.Sprintf("%s, %d bits of %d declared, high %v, 1/%d, big %v", color.Pattern(), bits, declared, high, share, big)
							if got, decided := e.Order(declared, !big); got != big || !decided {
								t.Errorf("%s: read as big-endian %v, decided %v", name, got, decided)
							}
						}
					}
				}
			}
		}
	}
}

// TestOrderOfBlankFrames: what the samples cannot tell, the flag's published
// meaning decides.
func TestOrderOfBlankFrames(t *testing.T) {
	for _, v := range []uint16{0, 0x0101, 0xffff, 0x1234} {
		f := make([]uint16, 64)
		for i := range f {
			f[i] = v
		}
		for flag := range int32(2) {
			_, e := measure(t, file(t, Header{Width: 8, Height: 8, Depth: 16, LittleFlag: flag}, [][]uint16{f, f}, nil))
			if big, decided := e.Order(16, flag == 0); big != (flag == 0) || decided {
				t.Errorf("frames of %#04x, flag %d: big-endian %v, decided %v", v, flag, big, decided)
			}
		}
	}
	// With 12 bits declared, a saturated frame is no riddle: swapped it would not fit.
	f := []uint16{4095, 4095, 4095, 4095}
	_, e := measure(t, file(t, Header{Width: 2, Height: 2, Depth: 12, LittleFlag: 1}, [][]uint16{f}, nil))
	if big, decided := e.Order(12, true); big || !decided {
		t.Errorf("saturated 12 bit: big-endian %v, decided %v", big, decided)
	}
}

// TestBlankBeginning: frames are taken from all over the clip.
func TestBlankBeginning(t *testing.T) {
	frames := scene(16, 16, 60, 1, 60000, 40, 9)
	for _, f := range frames[:59] {
		clear(f)
	}
	_, e := measure(t, file(t, Header{Width: 16, Height: 16, Depth: 16, LittleFlag: 0}, frames, nil))
	if big, decided := e.Order(16, false); !big || !decided {
		t.Errorf("big-endian %v, decided %v", big, decided)
	}
}

// TestLevelDoesNotDependOnBrightness: clips of one camera, from a black sky to an
// overexposed limb, must get one white level.
func TestLevelDoesNotDependOnBrightness(t *testing.T) {
	for _, c := range []struct {
		bits, declared int
		high           bool
		want           raw.Level
	}{
		{12, 12, false, raw.Level{Bits: 12, White: 4095}},
		{10, 10, false, raw.Level{Bits: 10, White: 1023}},
		{14, 14, false, raw.Level{Bits: 14, White: 16383}},
		{12, 12, true, raw.Level{Bits: 12, White: 65520, High: true}},
		{12, 16, true, raw.Level{Bits: 12, White: 65520, High: true}},
		{10, 16, true, raw.Level{Bits: 10, White: 65472, High: true}},
		{14, 16, true, raw.Level{Bits: 14, White: 65532, High: true}},
		{8, 16, true, raw.Level{Bits: 8, White: 65280, High: true}},
		{16, 16, false, raw.Level{Bits: 16, White: 65535}},
		{12, 16, false, raw.Level{Bits: 16, White: 65535}}, // nothing tells it from a dim 16 bit clip
		{8, 8, false, raw.Level{Bits: 8, White: 255}},
		{6, 6, false, raw.Level{Bits: 6, White: 63}},
	} {
		for _, top := range []int{1<<c.bits - 1, (1<<c.bits - 1) / 3, min(1<<c.bits-1, 40)} {
			container := 16
			if c.declared <= 8 {
				container = 8
			}
			for _, big := range []bool{false, true} {
				h := Header{Width: 64, Height: 64, Depth: int32(container)}
				if !big {
					h.LittleFlag = 1
				}
				frames := scene(64, 64, 5, 1, top, 4, 11)
				if c.high {
					frames = shifted(frames, container-c.bits)
				}
				b := file(t, h, frames, nil)
				b[atDepth] = byte(c.declared)
				_, e := measure(t, b)
				got := e.Level(c.declared, big)
				got.Doubt = 0
				if got != c.want {
					t.Errorf("%d bits of %d declared, high %v, up to %d, big %v: %+v, want %+v", c.bits, c.declared, c.high, top, big, got, c.want)
				}
			}
		}
	}
}

func TestOddLevels(t *testing.T) {
	at := func(declared int, frames [][]uint16) raw.Level {
		b := file(t, Header{Width: 32, Height: 32, Depth: 16, LittleFlag: 1}, frames, nil)
		b[atDepth] = byte(declared)
		_, e := measure(t, b)
		return e.Level(declared, false)
	}
	if got := at(12, scene(32, 32, 2, 1, 50000, 9, 3)); !got.Odd || got.White != 65535 || got.Bits != 16 {
		t.Errorf("16 bit samples declared as 12: %+v", got)
	}
	frames := scene(32, 32, 2, 1, 4000, 9, 3)
	frames[0][5] = 50000 // one torn sample of 2,048
	if got := at(12, frames); got.Odd || got.White != 4095 {
		t.Errorf("one stray sample: %+v", got)
	}
	full := scene(32, 32, 2, 1, 6000, 9, 3)
	for _, f := range full {
		for i := range f {
			f[i] = min(f[i], 4095)
		}
	}
	if got := at(16, full); got.Doubt != 12 || got.White != 65535 {
		t.Errorf("saturation at 4095 declared as 16 bit: %+v", got)
	}
}

func FuzzOpen(f *testing.F) {
	var m bytes.Buffer
	for _, h := range []Header{{Width: 4, Height: 2, Depth: 8, Frames: 1}, {Color: RGB, Width: 2, Height: 2, Depth: 16, Frames: 2, LittleFlag: 1}, {Color: BayerMYYC, Width: 3, Height: 3, Depth: 12, Frames: -5}} {
		m.Reset()
		m.Write(h.bytes())
		m.Write(make([]byte, 80))
		f.Add(bytes.Clone(m.Bytes()))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		if int64(c.Frames)*c.Layout.FrameBytes()+HeaderSize > int64(len(b)) || len(c.Times) > len(b)/8 {
			t.Fatalf("%d frames and %d times in %d bytes", c.Frames, len(c.Times), len(b))
		}
		if err := c.Layout.Check(); err != nil {
			t.Fatalf("an accepted header gives a layout that is not: %v", err)
		}
		if c.Frames == 0 {
			return
		}
		e, err := raw.Sample(bytes.NewReader(b), c.Layout, c.Frames)
		if err != nil {
			t.Fatal(err)
		}
		big, _ := e.Order(int(c.Header.Depth), c.Layout.BigEndian)
		if lv := e.Level(int(c.Header.Depth), big); !(lv.White >= 1) || lv.White > 65535 || lv.Bits < 1 {
			t.Fatalf("level %+v", lv)
		}
	})
}
