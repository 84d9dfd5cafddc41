package fits

import (
	"fmt"
	"io"
	"math"
)

// Unit is one header with its data.
type Unit struct {
	Kind  string // "IMAGE", "BINTABLE" or another extension's; "" is the file's first
	Name  string // EXTNAME
	Bytes int64  // of data, without padding
	unit
	head int64 // the byte at which the header begins
	r    io.ReaderAt
}

// Value returns what a card of the header says, quotes and blanks taken off; "" if there is none.
func (u Unit) Value(key string) string { return u.values[key] }

// maxUnits bounds how many units of a file are looked at.
const maxUnits = 1000

// Units lists a file's units. Bytes behind the last, which the standard allows, are not looked at.
func Units(r io.ReaderAt, size int64) ([]Unit, error) {
	var out []Unit
	for at := int64(0); at < size; {
		if head := make([]byte, 8); at > 0 {
			if n, _ := r.ReadAt(head, at); n < 8 || string(head) != "XTENSION" {
				break
			}
		}
		u, err := readUnit(r, size, at)
		if err != nil {
			return nil, err
		}
		if len(out) == maxUnits {
			return nil, fmt.Errorf("byte %d: more than %d units", at, maxUnits)
		}
		out = append(out, Unit{u.values["XTENSION"], u.values["EXTNAME"], u.bytes, u, at, r})
		if at = out[len(out)-1].End(); at > size {
			return nil, fmt.Errorf("byte %d: the file ends within its data", size)
		}
	}
	return out, nil
}

// End is the byte behind the unit and what pads it.
func (u Unit) End() int64 { return u.data + padded(u.Bytes) }

func padded(n int64) int64 { return (n + block - 1) / block * block }

// Content reads a unit's data.
func (u Unit) Content() ([]byte, error) {
	b := make([]byte, u.Bytes)
	if n, err := u.r.ReadAt(b, u.data); n < len(b) {
		return nil, fmt.Errorf("byte %d: read the data of %s: %w", u.data, u.called(), err)
	}
	return b, nil
}

// Verify holds a unit against the checksum in it (appendix J); one that has none is sound.
func (u Unit) Verify() error {
	if u.values["CHECKSUM"] == "" {
		return nil
	}
	var s sum
	buf := make([]byte, 16*block)
	for at, end := u.head, u.data+padded(u.Bytes); at < end; {
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
	s, err := stillOf(u)
	if err == nil && (s.Bits != -32 || s.scale != 1 || s.zero != 0 || s.topDown) {
		err = fmt.Errorf("%s is no picture of float32", u.called())
	}
	if err != nil {
		return 0, 0, 0, nil, err
	}
	return s.W, s.H, s.Channels, s.Row, nil
}
