package main

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"plenilune/steps/format/ser"
)

// scriptSamples changes every sample of an 8-bit capture: samples FILE FACTOR OFFSET.
func scriptSamples(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: samples FILE FACTOR OFFSET")
	}
	factor, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	offset, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	changeFrames(ts, args[0], func(frames []byte, _ ser.Header) {
		for i, v := range frames {
			frames[i] = byte(min(255, max(0, float64(v)*factor+offset)))
		}
	})
}

// scriptSlope adds light that changes over the field of an 8-bit capture, from nothing at one rim to twice as many levels as said at the
// other: slope FILE LEVELS DEGREES, where 0 is brighter to the right and 90 downwards.
func scriptSlope(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: slope FILE LEVELS DEGREES")
	}
	levels, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	degrees, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	rng := rand.New(rand.NewPCG(1, 1))
	changeFrames(ts, args[0], func(frames []byte, h ser.Header) {
		w, tall := int(h.Width), int(h.Height)
		for i, v := range frames {
			x, y := i%w-w/2, i/w%tall-tall/2
			glow := levels * (1 + (cos*float64(x)+sin*float64(y))/(math.Hypot(float64(w), float64(tall))/2))
			frames[i] = byte(min(255, max(0, float64(v)+glow+rng.Float64())))
		}
	})
}

// scriptSoft blurs every frame of an 8-bit capture a second time, by [1 2 1]/4 along and down as often as said: soft FILE TIMES.
func scriptSoft(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: soft FILE TIMES")
	}
	times, err := strconv.Atoi(args[1])
	ts.Check(err)
	rng := rand.New(rand.NewPCG(2, 1))
	changeFrames(ts, args[0], func(frames []byte, h ser.Header) {
		w, n := int(h.Width), int(h.Width)*int(h.Height)
		for f := range slices.Chunk(frames, n) {
			now, next := make([]float64, n), make([]float64, n)
			for i, v := range f {
				now[i] = float64(v)
			}
			for range times {
				for _, step := range []int{1, w} {
					for i, v := range now {
						next[i] = (now[max(i-step, i%step)] + 2*v + now[min(i+step, n-step+i%step)]) / 4
					}
					now, next = next, now
				}
			}
			for i, v := range now {
				f[i] = byte(min(255, v+rng.Float64())) // or levels would be left out
			}
		}
	})
}

// scriptDamage spoils a frame of an 8-bit capture: damage FILE KIND FRAME where KIND
// is black, repeat, tear (its lower half is another frame's, moved) or shift (its
// rows from the middle on lie further left).
func scriptDamage(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: damage FILE KIND FRAME")
	}
	i, err := strconv.Atoi(args[2])
	ts.Check(err)
	changeFrames(ts, args[0], func(frames []byte, h ser.Header) {
		w, n := int(h.Width), int(h.Width)*int(h.Height)
		f := frames[i*n : (i+1)*n]
		half := n / 2 / w * w
		switch args[1] {
		case "black":
			clear(f)
		case "repeat":
			copy(f, frames[(i-1)*n:i*n])
		case "tear":
			copy(f[half:], frames[(i-2)*n+half-40*w:(i-1)*n-40*w])
		case "shift":
			for y := half; y < n; y += w {
				copy(f[y:y+w], append(bytes.Clone(f[y+9:y+w]), f[y:y+9]...))
			}
		default:
			ts.Fatalf("there is no damage %s", args[1])
		}
	})
}

func changeFrames(ts *testscript.TestScript, name string, change func(frames []byte, h ser.Header)) {
	path := ts.MkAbs(name)
	b, err := os.ReadFile(path)
	ts.Check(err)
	f, err := ser.Open(bytes.NewReader(b), int64(len(b)))
	ts.Check(err)
	if f.Layout.SampleBytes != 1 {
		ts.Fatalf("%s has more than 8 bits", name)
	}
	change(b[f.Layout.Offset:][:int64(f.Frames)*f.Layout.Stride], f.Header)
	ts.Check(os.WriteFile(path, b, 0o666))
}

// scriptBinned adds up the samples of an 8-bit capture two by two: binned FILE.
func scriptBinned(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: binned FILE")
	}
	name := ts.MkAbs(args[0])
	b, err := os.ReadFile(name)
	ts.Check(err)
	f, err := ser.Open(bytes.NewReader(b), int64(len(b)))
	ts.Check(err)
	h := f.Header
	w, tall := int(h.Width), int(h.Height)
	h.Width, h.Height = h.Width/2, h.Height/2
	var out bytes.Buffer
	sw, err := ser.NewWriter(&out, h)
	ts.Check(err)
	frames := b[178:]
	for range int(h.Frames) {
		small := make([]uint16, 0, w*tall/4)
		for y := 0; y+1 < tall; y += 2 {
			for x := 0; x+1 < w; x += 2 {
				sum := int(frames[y*w+x]) + int(frames[y*w+x+1]) + int(frames[(y+1)*w+x]) + int(frames[(y+1)*w+x+1])
				small = append(small, uint16((sum+2)/4))
			}
		}
		ts.Check(sw.AddFrame(small))
		frames = frames[w*tall:]
	}
	ts.Check(os.WriteFile(name, out.Bytes(), 0o666))
}

// scriptTurned turns every frame of an 8-bit capture upside down, as a camera turned by half a turn shows it: turned FILE.
func scriptTurned(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: turned FILE")
	}
	changeFrames(ts, args[0], func(frames []byte, h ser.Header) {
		for f := range slices.Chunk(frames, int(h.Width)*int(h.Height)) {
			slices.Reverse(f)
		}
	})
}

// scriptFlip changes one byte of a file: flip FILE OFFSET.
func scriptFlip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: flip FILE OFFSET")
	}
	at, err := strconv.Atoi(args[1])
	ts.Check(err)
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	b[at] ^= 1
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o644))
}

// scriptEnds runs a program that must end with an exit code: ends CODE PROGRAM ARGS....
func scriptEnds(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: ends CODE PROGRAM ARGS...")
	}
	code := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		code = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if want := args[0]; strconv.Itoa(code) != want {
		ts.Fatalf("exit code %d, want %s", code, want)
	}
}
