package fits

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// Still is the first picture of a file, whatever kind of number it has (FITS Standard 4.0, table 8).
type Still struct {
	W, H     int
	Channels int     // 1, or 3: red, green, blue
	Bits     int     // BITPIX: 8, 16 or 32 whole numbers, −32 or −64 floating-point
	High     float64 // the greatest that a whole number of 8 or 16 bits can mean

	unit        Unit
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
		if u.values["ZIMAGE"] == "T" {
			return nil, errors.New("its pictures are compressed, as tables; uncompress the file first, with funpack")
		}
		if u.Bytes > 0 && (u.Kind == "" || u.Kind == "IMAGE") {
			return stillOf(u)
		}
	}
	return nil, errors.New("it holds no picture")
}

func stillOf(u Unit) (*Still, error) {
	axes, err := u.axes()
	if err != nil {
		return nil, err
	}
	for len(axes) > 2 && axes[len(axes)-1] == 1 {
		axes = axes[:len(axes)-1]
	}
	if len(axes) == 2 {
		axes = append(axes, 1)
	}
	if len(axes) != 3 || axes[2] != 1 && axes[2] != 3 || axes[0] < 1 || axes[0] > mostSide || axes[1] < 1 || axes[1] > mostSide {
		return nil, fmt.Errorf("%s of %v px is no picture, neither grey nor red, green and blue", u.called(), axes)
	}
	s := &Still{W: int(axes[0]), H: int(axes[1]), Channels: int(axes[2]), Bits: int(u.whole("BITPIX", 0)), unit: u,
		zero: u.real("BZERO", 0), scale: u.real("BSCALE", 1), blank: u.values["BLANK"], topDown: !u.bottomUp()}
	switch s.Bits {
	case 8:
		s.High = float64(s.scale*255) + s.zero
	case 16:
		s.High = float64(s.scale*32767) + s.zero
	case 32, -32, -64:
	default:
		return nil, fmt.Errorf("samples of BITPIX = %d are not read", s.Bits)
	}
	if want := axes[0] * axes[1] * axes[2] * int64(max(s.Bits, -s.Bits)/8); want != u.Bytes {
		return nil, fmt.Errorf("%d bytes of data for a picture of %d×%d×%d px", u.Bytes, s.W, s.H, s.Channels)
	}
	return s, nil
}

// mostSide bounds a side of a picture, so that no product of sizes overflows.
const mostSide = 1 << 20

// Verify holds the picture against the checksum in its file; one that has none is sound.
func (s *Still) Verify() error { return s.unit.Verify() }

// Row fills dst with row y of channel c, y from the top, as physical values (4.4.2.5); NaN is no data.
func (s *Still) Row(c, y int, dst []float32) error {
	each := max(s.Bits, -s.Bits) / 8
	b := make([]byte, each*s.W)
	line := s.H - 1 - y
	if s.topDown {
		line = y
	}
	at := s.unit.data + int64(len(b))*(int64(c)*int64(s.H)+int64(line))
	if n, err := s.unit.r.ReadAt(b, at); n < len(b) {
		return fmt.Errorf("byte %d: read row %d: %w", at, y, err)
	}
	for i := range dst[:s.W] {
		dst[i] = s.value(b[i*each:])
	}
	return nil
}

func (s *Still) value(b []byte) float32 {
	if s.Bits == -32 && s.scale == 1 && s.zero == 0 {
		return math.Float32frombits(binary.BigEndian.Uint32(b)) // every bit as it stands
	}
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

// Taken is the middle of when the picture was taken, in nanoseconds since 1970, UTC; 0 if that is not said: DATE-AVG, or the
// beginning and half the exposure (9.5).
func (s *Still) Taken() int64 {
	if t := s.unit.moment("DATE-AVG", "MJD-AVG"); t != 0 {
		return t
	}
	if t := s.unit.begin(); t != 0 {
		return t + s.unit.exposure()/2
	}
	return 0
}
