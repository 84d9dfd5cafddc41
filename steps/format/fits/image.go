package fits

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"plenilune/steps/format/raw"
)

// maxBytes bounds what a header may claim, so that no product overflows.
const maxBytes = 1 << 61

// whole reads a whole number; otherwise if there is none.
func (u unit) whole(key string, otherwise int64) int64 {
	v, err := strconv.ParseInt(u.values[key], 10, 64)
	if err != nil {
		return otherwise
	}
	return v
}

// real reads a number, with the exponent D that the standard allows (4.2.4); otherwise if
// there is none.
func (u unit) real(key string, otherwise float64) float64 {
	v, err := strconv.ParseFloat(strings.Replace(strings.ToUpper(u.values[key]), "D", "E", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return otherwise
	}
	return v
}

// axes returns the lengths of a unit's axes, none if it has no data.
func (u unit) axes() ([]int64, error) {
	n := u.whole("NAXIS", 0)
	if n < 0 || n > 999 {
		return nil, fmt.Errorf("byte %d: a header states %d axes; leave the file out", u.data, n)
	}
	out := make([]int64, n)
	for i := range out {
		key := fmt.Sprintf("NAXIS%d", i+1)
		if out[i] = u.whole(key, -1); out[i] < 0 {
			return nil, fmt.Errorf("byte %d: a header does not state %s, or not as a number; leave the file out", u.data, key)
		}
	}
	return out, nil
}

// dataBytes is how much data a unit has, without padding (4.4.1.1, 7.1.1); at most maxBytes.
func (u unit) dataBytes(axes []int64) int64 {
	if len(axes) == 0 {
		return 0
	}
	product := func(a, b int64) int64 {
		if a != 0 && b > maxBytes/a {
			return maxBytes
		}
		return a * b
	}
	bits := u.whole("BITPIX", 8)
	elements := int64(1)
	for i, n := range axes {
		if i == 0 && n == 0 && strings.HasPrefix(u.values["GROUPS"], "T") {
			continue // random groups (6.1.1)
		}
		elements = product(elements, n)
	}
	parameters := max(0, min(u.whole("PCOUNT", 0), maxBytes))
	groups := max(1, min(u.whole("GCOUNT", 1), maxBytes))
	return product(product(max(bits, -bits)/8, groups), min(parameters+elements, maxBytes))
}

// isImage tells whether a unit holds a picture, or several.
func (u unit) isImage(axes []int64) bool {
	x := u.values["XTENSION"]
	return (x == "" || x == "IMAGE") && len(axes) >= 2 && axes[0] > 0 && axes[1] > 0
}

// layout returns how one frame of a picture lies, the first of them, and how many there are.
func (u unit) layout(axes []int64) (raw.Layout, int64, error) {
	l := raw.Layout{Planes: 1, BigEndian: true, Pattern: raw.Mono, Offset: u.data}
	l.Width, l.Height = int(min(axes[0], math.MaxInt32)), int(min(axes[1], math.MaxInt32))
	if err := u.samples(&l); err != nil {
		return l, 0, err
	}
	rest := axes[2:]
	if len(rest) > 0 && rest[0] == 3 && u.coloured() {
		l.Planes, l.Planar, l.Pattern, rest = 3, true, raw.RGB, rest[1:]
	}
	frames := int64(1)
	for _, n := range rest {
		if n != 0 && frames > raw.MaxFrames/n {
			return l, 0, fmt.Errorf("byte %d: more than the %d frames that are read; split the file", u.data, raw.MaxFrames)
		}
		frames *= n
	}
	l.BottomUp = u.bottomUp()
	if err := u.mosaic(&l); err != nil {
		return l, 0, err
	}
	l.Stride = l.Span()
	if err := l.Check(); err != nil {
		return l, 0, fmt.Errorf("byte %d: %w; leave the file out", u.data, err)
	}
	return l, frames, nil
}

// samples sets what samples are: BITPIX (table 8), BZERO and BSCALE (4.4.2.5, table 11).
func (u unit) samples(l *raw.Layout) error {
	bits := u.whole("BITPIX", 0)
	switch bits {
	case 8, 16, 32, 64, -32, -64:
	default:
		return fmt.Errorf("byte %d: BITPIX = %q is none of 8, 16, 32, 64, -32, -64; leave the file out", u.data, u.values["BITPIX"])
	}
	l.SampleBytes, l.Kind = int(max(bits, -bits)/8), raw.Signed
	if bits < 0 {
		l.Kind = raw.Float
	}
	if bits == 8 {
		l.Kind, l.BigEndian = raw.Unsigned, false
	}
	l.Zero = u.real("BZERO", 0)
	if l.Scale = u.real("BSCALE", 1); l.Scale == 1 {
		l.Scale = 0
	} else if l.Scale <= 0 {
		return fmt.Errorf("byte %d: BSCALE = %s is not positive; leave the file out", u.data, u.values["BSCALE"])
	}
	return nil
}

// coloured tells whether the third axis is stated to be red, green and blue. No source: the
// standard has no word for it (8.4 leaves linear axes free), these are in common use.
func (u unit) coloured() bool {
	switch strings.ToUpper(u.values["CTYPE3"]) {
	case "RGB", "COLOR", "COLOUR":
		return true
	}
	return false
}

// bottomUp tells whether the first row is the lowest, as the standard recommends (5.1), unless
// ROWORDER says otherwise. ROWORDER: common practice, no source.
func (u unit) bottomUp() bool {
	return !strings.EqualFold(strings.ReplaceAll(u.values["ROWORDER"], "_", "-"), "TOP-DOWN")
}

// mosaic sets the pattern of colour filters. BAYERPAT, XBAYROFF and YBAYROFF: common practice,
// no source. The pattern is that of the first two rows in the file, from the offset on.
func (u unit) mosaic(l *raw.Layout) error {
	p := strings.ToUpper(u.values["BAYERPAT"])
	if p == "" || l.Planes != 1 {
		return nil
	}
	switch p {
	case raw.RGGB, raw.GRBG, raw.GBRG, raw.BGGR:
	default:
		return fmt.Errorf("byte %d: BAYERPAT = %q is none of RGGB, GRBG, GBRG, BGGR; leave the file out", u.data, p)
	}
	across := odd(u.real("XBAYROFF", 0))
	down := odd(u.real("YBAYROFF", 0))
	if l.BottomUp && l.Height%2 == 0 {
		down = !down // the row uppermost is of the second kind
	}
	b := []byte(p)
	if across {
		b[0], b[1], b[2], b[3] = b[1], b[0], b[3], b[2]
	}
	if down {
		b[0], b[1], b[2], b[3] = b[2], b[3], b[0], b[1]
	}
	l.Pattern = string(b)
	return nil
}

func odd(v float64) bool { return math.Mod(math.Floor(v), 2) != 0 }
