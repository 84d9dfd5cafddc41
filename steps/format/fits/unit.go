package fits

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Unit is one header with its data.
type Unit struct {
	Kind   string            // "IMAGE", "BINTABLE" or another extension's; "" is the file's first
	Name   string            // EXTNAME
	Values map[string]string // of its header as they stand, quotes and blanks taken off
	Data   int64             // the byte at which the data begins
	Bytes  int64             // of data, without padding
	head   int64             // the byte at which the header begins
	r      io.ReaderAt
}

// maxUnits bounds how many units of a file are looked at.
const maxUnits = 1000

// Units lists a file's units. Bytes behind the last, which the standard allows, are not looked at.
func Units(r io.ReaderAt, size int64) ([]Unit, error) {
	var out []Unit
	for at := int64(0); at < size; {
		u, err := readUnit(r, size, at)
		if err != nil {
			return nil, err
		}
		if len(out) > 0 && u.values["XTENSION"] == "" {
			break
		}
		if len(out) == maxUnits {
			return nil, fmt.Errorf("byte %d: more than %d units", at, maxUnits)
		}
		out = append(out, Unit{Kind: u.values["XTENSION"], Name: u.values["EXTNAME"], Values: u.values, Data: u.data, Bytes: u.bytes, head: at, r: r})
		if at = u.data + padded(u.bytes); at > size {
			return nil, fmt.Errorf("byte %d: the file ends within its data", size)
		}
	}
	return out, nil
}

func padded(n int64) int64 { return (n + block - 1) / block * block }

// Content reads a unit's data.
func (u Unit) Content() ([]byte, error) {
	b := make([]byte, u.Bytes)
	if n, err := u.r.ReadAt(b, u.Data); n < len(b) {
		return nil, fmt.Errorf("byte %d: read the data of %s: %w", u.Data, u.called(), err)
	}
	return b, nil
}

// Verify holds a unit against the checksum in it (appendix J); one that has none is sound.
func (u Unit) Verify() error {
	if u.Values["CHECKSUM"] == "" {
		return nil
	}
	var s sum
	buf := make([]byte, 16*block)
	for at, end := u.head, u.Data+padded(u.Bytes); at < end; {
		b := buf[:min(int64(len(buf)), end-at)]
		if n, err := u.r.ReadAt(b, at); n < len(b) {
			return fmt.Errorf("byte %d: read %s: %w", at, u.called(), err)
		}
		s.add(b)
		at += int64(len(b))
	}
	if s.value() != math.MaxUint32 {
		return fmt.Errorf("%s is damaged: its bytes do not agree with their checksum", u.called())
	}
	return nil
}

func (u Unit) called() string {
	if u.Name == "" {
		return "the picture"
	}
	return u.Name
}

// Float32 opens a unit whose data are pictures of float32 as Encode writes them: w by h pixels, a plane a channel.
func (u Unit) Float32() (w, h, channels int, row func(c, y int, dst []float32) error, err error) {
	axes := u.axes()
	if u.Values["BITPIX"] != "-32" || len(axes) != 2 && len(axes) != 3 || u.Values["BSCALE"] != "" || u.Values["BZERO"] != "" {
		return 0, 0, 0, nil, fmt.Errorf("%s is no picture of float32", u.called())
	}
	w, h, channels = axes[0], axes[1], 1
	if len(axes) == 3 {
		channels = axes[2]
	}
	if w < 1 || h < 1 || channels < 1 || 4*int64(w)*int64(h)*int64(channels) != u.Bytes {
		return 0, 0, 0, nil, fmt.Errorf("%s is a picture of %d×%d×%d px in %d bytes", u.called(), w, h, channels, u.Bytes)
	}
	return w, h, channels, func(c, y int, dst []float32) error {
		b := make([]byte, 4*w)
		at := u.Data + 4*int64(w)*(int64(c)*int64(h)+int64(h-1-y))
		if n, err := u.r.ReadAt(b, at); n < len(b) {
			return fmt.Errorf("byte %d: read row %d of %s: %w", at, y, u.called(), err)
		}
		for i := range dst[:w] {
			dst[i] = math.Float32frombits(binary.BigEndian.Uint32(b[4*i:]))
		}
		return nil
	}, nil
}

// axes are the lengths of a unit's axes, each from 0 to 1<<24; none where one is out of that.
func (u Unit) axes() []int {
	var n int
	if _, err := fmt.Sscan(u.Values["NAXIS"], &n); err != nil || n < 0 || n > 9 {
		return nil
	}
	out := make([]int, n)
	for i := range out {
		if _, err := fmt.Sscan(u.Values[fmt.Sprintf("NAXIS%d", i+1)], &out[i]); err != nil || out[i] < 0 || out[i] > 1<<24 {
			return nil
		}
	}
	return out
}
