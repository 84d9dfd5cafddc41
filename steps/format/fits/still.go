package fits

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// Still is the first picture of a file, whatever kind of number it has (FITS Standard 4.0, table 8).
type Still struct {
	W, H     int
	Channels int     // 1, or 3: red, green, blue
	Bits     int     // BITPIX: 8, 16 or 32 whole numbers, −32 or −64 floating-point
	High     float64 // the greatest that a whole number of 8 or 16 bits can mean
	Unit     Unit

	zero, scale float64
	blank       string
	topDown     bool
}

// OpenStill finds the first picture of one plane, or of three.
func OpenStill(r io.ReaderAt, size int64) (*Still, error) {
	units, err := Units(r, size)
	if err != nil {
		return nil, err
	}
	for _, u := range units {
		axes := u.axes()
		for len(axes) > 2 && axes[len(axes)-1] == 1 {
			axes = axes[:len(axes)-1]
		}
		if u.Values["ZIMAGE"] == "T" {
			return nil, errors.New("its pictures are compressed, as tables; uncompress the file first, with funpack")
		}
		if u.Kind != "" && u.Kind != "IMAGE" || len(axes) < 2 || u.Bytes == 0 {
			continue
		}
		return stillOf(u, axes)
	}
	return nil, errors.New("it holds no picture")
}

func stillOf(u Unit, axes []int) (*Still, error) {
	s := &Still{W: axes[0], H: axes[1], Channels: 1, Unit: u, zero: real(u.Values["BZERO"], 0), scale: real(u.Values["BSCALE"], 1), blank: u.Values["BLANK"]}
	if len(axes) == 3 {
		s.Channels = axes[2]
	}
	if len(axes) > 3 || s.Channels != 1 && s.Channels != 3 {
		return nil, fmt.Errorf("a picture of %v px is neither grey nor red, green and blue", axes)
	}
	var err error
	if s.Bits, err = strconv.Atoi(u.Values["BITPIX"]); err != nil {
		return nil, fmt.Errorf("BITPIX = %q is no number", u.Values["BITPIX"])
	}
	switch s.Bits {
	case 8:
		s.High = float64(s.scale*255) + s.zero
	case 16:
		s.High = float64(s.scale*32767) + s.zero
	case 32, -32, -64:
	default:
		return nil, fmt.Errorf("samples of BITPIX = %d are not read", s.Bits)
	}
	if want := int64(s.W) * int64(s.H) * int64(s.Channels) * int64(max(s.Bits, -s.Bits)/8); want != u.Bytes {
		return nil, fmt.Errorf("%d bytes of data for a picture of %d×%d×%d px", u.Bytes, s.W, s.H, s.Channels)
	}
	// Common practice, no source: the standard recommends that the first row be the lowest (5.1), and files that have it
	// uppermost say so by this card.
	s.topDown = strings.HasPrefix(strings.ToUpper(u.Values["ROWORDER"]), "TOP")
	return s, nil
}

// real reads a number, with the exponent D that the standard allows (4.2.4).
func real(text string, otherwise float64) float64 {
	v, err := strconv.ParseFloat(strings.Replace(strings.ToUpper(text), "D", "E", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return otherwise
	}
	return v
}

// Row fills dst with row y of channel c, y from the top, as physical values (4.4.2.5); NaN is no data.
func (s *Still) Row(c, y int, dst []float32) error {
	each := max(s.Bits, -s.Bits) / 8
	b := make([]byte, each*s.W)
	line := s.H - 1 - y
	if s.topDown {
		line = y
	}
	at := s.Unit.Data + int64(len(b))*(int64(c)*int64(s.H)+int64(line))
	if n, err := s.Unit.r.ReadAt(b, at); n < len(b) {
		return fmt.Errorf("byte %d: read row %d: %w", at, y, err)
	}
	for i := range dst[:s.W] {
		dst[i] = s.value(b[i*each:])
	}
	return nil
}

func (s *Still) value(b []byte) float32 {
	var v float64
	whole := int64(0)
	switch s.Bits {
	case 8:
		whole = int64(b[0])
	case 16:
		whole = int64(int16(binary.BigEndian.Uint16(b)))
	case 32:
		whole = int64(int32(binary.BigEndian.Uint32(b)))
	case -32:
		v = float64(math.Float32frombits(binary.BigEndian.Uint32(b)))
	default:
		v = math.Float64frombits(binary.BigEndian.Uint64(b))
	}
	if s.Bits > 0 {
		if v = float64(whole); s.blank != "" && s.blank == strconv.FormatInt(whole, 10) {
			return float32(math.NaN())
		}
	}
	if v = float64(s.scale*v) + s.zero; !(math.Abs(v) <= math.MaxFloat32) {
		return float32(math.NaN())
	}
	return float32(v)
}

// Taken is the middle of when a picture was taken, in nanoseconds since 1970, UTC; 0 if that is not said: DATE-AVG, or
// DATE-BEG or DATE-OBS and half the exposure (9.1.1, 9.5).
func (s *Still) Taken() int64 {
	if system := strings.ToUpper(s.Unit.Values["TIMESYS"]); system != "" && !strings.HasPrefix(system, "UT") {
		return 0
	}
	if t := moment(s.Unit.Values["DATE-AVG"]); t != 0 {
		return t
	}
	for _, key := range []string{"DATE-BEG", "DATE-OBS"} {
		t := moment(s.Unit.Values[key])
		if t == 0 {
			continue
		}
		for _, key := range []string{"XPOSURE", "EXPTIME", "EXPOSURE"} { // the first is the standard's (9.6), the others are in common use
			if x := real(s.Unit.Values[key], 0); x > 0 && x < 86400 {
				return t + int64(float64(x*0.5e9))
			}
		}
		return t
	}
	return 0
}

// moment reads a date with a time of day; 0 where there is none.
func moment(text string) int64 {
	t, err := time.Parse("2006-01-02T15:04:05", strings.TrimSuffix(text, "Z"))
	if err != nil || t.Year() < 1970 || t.Year() >= 2200 {
		return 0
	}
	return t.UnixNano()
}
