package formattest

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"time"

	"plenilune/steps/format/raw"
)

// FITSOptions say how a film is written as FITS.
type FITSOptions struct {
	Bits     int     // BITPIX: 8, 16 (less 32768), 32, 64, -32 or -64
	Unit     bool    // floats from 0 to 1, not to 255 or 65535
	TopDown  bool    // rows from the top, and ROWORDER says so
	Apart    bool    // each frame is an extension of its own, behind a beginning without data
	Pictures bool    // the first frame is the beginning, each other an extension
	Scale    float64 // BSCALE; 0: none
}

var be = binary.BigEndian

// FITS writes a film as FITS, as the standard lays it out.
func FITS(f Film, o FITSOptions) ([]byte, error) {
	switch o.Bits {
	case 8, 16, 32, 64, -32, -64:
	default:
		return nil, fmt.Errorf("BITPIX %d", o.Bits)
	}
	var b []byte
	if !o.Apart && !o.Pictures {
		var data []byte
		for i := range f.Frames {
			data = append(data, fitsFrame(f, o, i)...)
		}
		return fitsUnit(b, fitsCards(f, o, "SIMPLE", len(f.Frames), 0), data), nil
	}
	if o.Apart {
		b = fitsUnit(b, []string{fitsCard("SIMPLE", "T"), fitsCard("BITPIX", "8"), fitsCard("NAXIS", "0"), fitsCard("EXTEND", "T")}, nil)
	}
	for i := range f.Frames {
		kind := "XTENSION"
		if o.Pictures && i == 0 {
			kind = "SIMPLE"
		}
		b = fitsUnit(b, fitsCards(f, o, kind, 1, i), fitsFrame(f, o, i))
	}
	return b, nil
}

func fitsCard(key, value string) string {
	if strings.HasPrefix(value, "'") {
		return fmt.Sprintf("%-80s", fmt.Sprintf("%-8s= %-20s", key, value))
	}
	return fmt.Sprintf("%-80s", fmt.Sprintf("%-8s= %20s", key, value))
}

func fitsCards(f Film, o FITSOptions, kind string, n, first int) []string {
	var out []string
	put := func(key string, value any) {
		s := fmt.Sprint(value)
		if t, ok := value.(string); ok && t != "T" {
			s = fmt.Sprintf("'%-8s'", t)
		}
		out = append(out, fitsCard(key, s))
	}
	if kind == "SIMPLE" {
		put("SIMPLE", "T")
	} else {
		put("XTENSION", "IMAGE")
	}
	put("BITPIX", o.Bits)
	axes := []int{f.Width, f.Height}
	if f.Planes() == 3 {
		axes = append(axes, 3)
	}
	if n != 1 {
		axes = append(axes, n)
	}
	put("NAXIS", len(axes))
	for i, v := range axes {
		put(fmt.Sprintf("NAXIS%d", i+1), v)
	}
	switch {
	case kind != "SIMPLE":
		put("PCOUNT", 0)
		put("GCOUNT", 1)
	case o.Pictures:
		put("EXTEND", "T")
	}
	if f.Planes() == 3 {
		put("CTYPE3", "RGB")
	}
	if o.Bits == 16 {
		put("BZERO", 32768)
	}
	if o.Scale != 0 {
		out = append(out, fitsCard("BSCALE", fmt.Sprintf("%G", o.Scale)))
	}
	if o.TopDown {
		put("ROWORDER", "TOP-DOWN")
	}
	if f.Planes() == 1 && f.Pattern != raw.Mono {
		p := f.Pattern
		if !o.TopDown && f.Height%2 == 0 {
			p = p[2:] + p[:2] // the first row in the file is the lowest
		}
		put("BAYERPAT", p)
	}
	if f.Note != "" {
		put("OBSERVER", f.Note)
	}
	return append(out, fitsTimes(f, n, first)...)
}

// fitsTimes states times so that the middles of the exposures are those of the film: a picture's
// exposure begins 2 ms before; those of a cube, at equal distances, join.
func fitsTimes(f Film, n, first int) (out []string) {
	if len(f.Times) == 0 {
		return nil
	}
	date := func(key string, t time.Time) {
		out = append(out, fitsCard(key, "'"+t.UTC().Format("2006-01-02T15:04:05.000000000")+"'"))
	}
	begin := f.Times[first].Add(-2 * time.Millisecond)
	if n > 1 {
		half := f.Times[n-1].Sub(f.Times[0]) / time.Duration(2*(n-1))
		begin = f.Times[0].Add(-half)
		date("DATE-END", f.Times[n-1].Add(half))
	} else {
		out = append(out, fitsCard("EXPTIME", "0.004"))
	}
	date("DATE-OBS", begin)
	return append(out, fitsCard("TIMESYS", "'UTC     '"))
}

func fitsUnit(b []byte, cards []string, data []byte) []byte {
	b = append(b, strings.Join(cards, "")...)
	b = append(b, fmt.Sprintf("%-80s", "END")...)
	b = append(b, strings.Repeat(" ", (2880-len(b)%2880)%2880)...)
	b = append(b, data...)
	return append(b, make([]byte, (2880-len(b)%2880)%2880)...)
}

func fitsFrame(f Film, o FITSOptions, i int) (b []byte) {
	white := float64(int(1)<<f.Bits - 1)
	for c := range f.Planes() {
		for y := range f.Height {
			if !o.TopDown {
				y = f.Height - 1 - y
			}
			for x := range f.Width {
				v := float64(f.Frames[i][(y*f.Width+x)*f.Planes()+c])
				if o.Unit {
					v /= white
				}
				if o.Scale != 0 {
					v /= o.Scale
				}
				b = fitsSample(b, o.Bits, v)
			}
		}
	}
	return b
}

func fitsSample(b []byte, bits int, v float64) []byte {
	switch bits {
	case 8:
		return append(b, byte(v))
	case 16:
		return be.AppendUint16(b, uint16(int(v)-32768))
	case 32:
		return be.AppendUint32(b, uint32(int32(v)))
	case 64:
		return be.AppendUint64(b, uint64(int64(v)))
	case -32:
		return be.AppendUint32(b, math.Float32bits(float32(v)))
	}
	return be.AppendUint64(b, math.Float64bits(v))
}
