package panels

import (
	"errors"
	"fmt"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/format/fits"
	"plenilune/steps/format/picture"
	"plenilune/steps/format/raw"
)

// still is a picture that another program stacked, not yet decoded.
type still struct {
	kind           string // what the file is, for people
	w, h, channels int
	bits           int     // 8 or 16 of whole numbers, else 0
	high           float64 // what whole numbers of 8 or 16 bits mean at the most
	encoding, why  string  // how samples stand to light, and what says so; "" if nothing does
	taken          int64   // the middle of when it was taken, in nanoseconds of UTC since 1970; 0 if it does not say

	// pixels decodes, a slice a channel, in the file's units; NaN is no data.
	pixels func() ([][]float32, error)
}

// mostPixels bounds a panel: more than any sensor has, and what memory is reckoned with.
const mostPixels = 150e6

// openStill looks at what stands before the pixels.
func openStill(f pipeline.File) (*still, error) {
	s, err := openKind(f)
	if err != nil {
		return nil, err
	}
	if n := float64(s.w) * float64(s.h); n > mostPixels || s.w < 16 || s.h < 16 {
		return nil, fmt.Errorf("a picture of %d×%d px is no panel: it may have from 16×16 px to %g million", s.w, s.h, mostPixels/1e6)
	}
	return s, nil
}

func openKind(f pipeline.File) (*still, error) {
	head := make([]byte, 9)
	if n, _ := f.ReadAt(head, 0); n == len(head) && fits.Begins(head) {
		return openFITS(f)
	}
	if picture.Sniff(f, f.Size()) == "" {
		return nil, errors.New("it is no panel: neither FITS, TIFF, PNG nor JPEG")
	}
	p, err := picture.Open(f, f.Size())
	if err != nil {
		return nil, err
	}
	s := &still{kind: p.Kind, w: p.Width, h: p.Height, channels: p.Channels, encoding: p.Encoding, why: p.Why}
	if p.Bits < 32 {
		s.bits, s.high = p.Bits, float64(int(1)<<p.Bits-1)
	}
	if m := p.Taken(); m.Zoned { // else it is by a clock of which nobody knows how it went
		s.taken = m.UnixNS
	}
	s.pixels = func() ([][]float32, error) {
		if err := p.Load(); err != nil {
			return nil, err
		}
		out := s.empty()
		row := make([]float32, s.w*s.channels)
		for y := range s.h {
			p.Row(y, row)
			for i, v := range row {
				out[i%s.channels][y*s.w+i/s.channels] = v
			}
		}
		return out, nil
	}
	return s, nil
}

func openFITS(f pipeline.File) (*still, error) {
	p, err := fits.OpenStill(f, f.Size())
	if err != nil {
		return nil, err
	}
	s := &still{kind: "FITS", w: p.W, h: p.H, channels: p.Channels, high: p.High, taken: p.Taken()}
	if p.Bits == 8 || p.Bits == 16 {
		s.bits = p.Bits
	}
	s.pixels = func() ([][]float32, error) {
		if err := p.Verify(); err != nil {
			return nil, err
		}
		out := s.empty()
		for c := range out {
			for y := range s.h {
				if err := p.Row(c, y, out[c][y*s.w:(y+1)*s.w]); err != nil {
					return nil, err
				}
			}
		}
		return out, nil
	}
	return s, nil
}

func (s *still) empty() [][]float32 {
	out := make([][]float32, s.channels)
	for c := range out {
		out[c] = make([]float32, s.w*s.h)
	}
	return out
}

// scale brings samples to units of white and returns what white is: the stated number, or the most that a whole number of 8 or
// 16 bits can mean, or of others 1, or 65535 where they reach beyond: the panels of a night are to have one white.
func (s *still) scale(pix [][]float32, stated float64) (white float64) {
	switch {
	case stated > 0:
		white = stated
	case s.bits > 0:
		white = s.high
	default:
		white = whiteOf(pix)
	}
	for _, p := range pix {
		for i, v := range p {
			if p[i] = float32(float64(v) / white); v-v != 0 {
				p[i] = float32(math.NaN())
			}
		}
	}
	return white
}

func whiteOf(pix [][]float32) float64 {
	most := 0.0
	for _, p := range pix {
		for _, v := range p {
			if f := float64(v); f > most && f <= math.MaxFloat32 {
				most = f
			}
		}
	}
	return raw.FloatWhite(most)
}
