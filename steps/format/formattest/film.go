// Package formattest writes clips of every kind that is read, whole and odd ones, for tests.
package formattest

import (
	"bytes"
	"fmt"
	"time"

	"plenilune/steps/format/raw"
	"plenilune/steps/format/ser"
)

// Film is frames to be written.
type Film struct {
	Width, Height int
	Pattern       string     // as raw.Layout names it; raw.RGB for colours
	Bits          int        // 8, or 16
	Frames        [][]uint16 // row by row, the highest first; three samples a pixel of raw.RGB
	Times         []time.Time
	Note          string // up to 40 letters that change nothing else
}

// Planes returns the samples a pixel.
func (f Film) Planes() int {
	if f.Pattern == raw.RGB {
		return 3
	}
	return 1
}

// Scene makes a film in which every sample differs from most others and neighbours are alike.
func Scene(w, h, n, bits int, pattern string) Film {
	f := Film{Width: w, Height: h, Pattern: pattern, Bits: bits}
	top := 1<<bits - 1
	for k := range n {
		pix := make([]uint16, w*h*f.Planes())
		for i := range pix {
			x, y, c := i/f.Planes()%w, i/f.Planes()/w, i%f.Planes()
			ramp := top * (3*x + 5*y + 7*c + 11*k) / (3*w + 5*h + 21 + 11*n)
			pix[i] = uint16(min(top, ramp+i*i%7))
		}
		f.Frames = append(f.Frames, pix)
	}
	return f
}

// SER writes a film as SER, big-endian or little-endian.
func SER(f Film, big bool) ([]byte, error) {
	id, err := ser.ColorOf(f.Pattern)
	if err != nil {
		return nil, err
	}
	h := ser.Header{Color: id, LittleFlag: 1, Width: int32(f.Width), Height: int32(f.Height), Depth: int32(f.Bits), Frames: int32(len(f.Frames)), Observer: f.Note}
	if big {
		h.LittleFlag = 0
	}
	if len(f.Times) > 0 {
		h.UTC = ser.TicksOf(f.Times[0])
	}
	var b bytes.Buffer
	w, err := ser.NewWriter(&b, h)
	if err != nil {
		return nil, err
	}
	for _, pix := range f.Frames {
		if err := w.AddFrame(pix); err != nil {
			return nil, err
		}
	}
	err = w.Close(f.Times)
	return b.Bytes(), err
}

// Read reads a clip of words back, its colours in the order red, green, blue.
func Read(b []byte, c *raw.Clip) (Film, error) {
	l := c.Layout
	f := Film{Width: l.Width, Height: l.Height, Pattern: l.Pattern, Bits: 8 * l.SampleBytes}
	if l.Planes == 3 {
		f.Pattern = raw.RGB
	}
	r, err := raw.NewReader(bytes.NewReader(b), int64(len(b)), l)
	if err != nil {
		return f, err
	}
	dst := make([][]float32, l.Planes)
	for p := range dst {
		dst[p] = make([]float32, l.Width*l.Height)
	}
	for i := range c.Frames {
		if err := r.Frame(i, 1, dst); err != nil {
			return f, fmt.Errorf("frame %d: %w", i, err)
		}
		pix := make([]uint16, len(dst[0])*l.Planes)
		for p := range dst {
			for k, v := range dst[p] {
				pix[k*l.Planes+p] = uint16(v)
			}
		}
		f.Frames = append(f.Frames, pix)
	}
	for _, ns := range c.Times {
		f.Times = append(f.Times, time.Unix(0, ns).UTC())
	}
	return f, nil
}
