package fits

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// maxHeader bounds the blocks of one header.
const maxHeader = 64

// unit is a header with its data.
type unit struct {
	values map[string]string // as they stand, quotes and blanks taken off
	data   int64             // where the data begins
	bytes  int64             // without padding
}

// Begins tells whether a file's first bytes are those of FITS.
func Begins(head []byte) bool { return strings.HasPrefix(string(head), "SIMPLE  =") }

// Table returns the bytes that AppendTable put into a file under a name; ok is false if there are none. Sizes are checked
// against the file's before memory is taken.
func Table(r io.ReaderAt, size int64, name string) (content []byte, ok bool, err error) {
	for at := int64(0); at < size; {
		u, err := readUnit(r, size, at)
		if err != nil {
			return nil, false, err
		}
		if u.values["EXTNAME"] == name && u.values["XTENSION"] == "BINTABLE" {
			b := make([]byte, u.bytes)
			if n, err := r.ReadAt(b, u.data); n < len(b) {
				return nil, false, fmt.Errorf("byte %d: read table %s: %w", u.data, name, err)
			}
			return b, true, nil
		}
		if at = u.data + (u.bytes+block-1)/block*block; at > size {
			return nil, false, fmt.Errorf("byte %d: the file ends within its data", size)
		}
	}
	return nil, false, nil
}

func readUnit(r io.ReaderAt, size, at int64) (unit, error) {
	u, err := readCards(r, at)
	if err != nil {
		return u, err
	}
	return u, u.measure(size)
}

// readCards reads a header alone.
func readCards(r io.ReaderAt, at int64) (unit, error) {
	u := unit{values: map[string]string{}}
	b := make([]byte, block)
	for n := range int64(maxHeader) {
		if k, err := r.ReadAt(b, at+n*block); k < len(b) {
			return u, fmt.Errorf("byte %d: the file ends within a header: %w", at+n*block, err)
		}
		for i := 0; i < block; i += wide {
			card := string(b[i : i+wide])
			key := strings.TrimRight(card[:8], " ")
			if key == "END" {
				u.data = at + (n+1)*block
				return u, nil
			}
			if card[8:10] == "= " {
				u.values[key] = value(card[10:])
			}
		}
	}
	return u, fmt.Errorf("byte %d: a header of more than %d cards", at, maxHeader*block/wide)
}

// value takes a card's value from its comment.
func value(s string) string {
	s = strings.TrimLeft(s, " ")
	if !strings.HasPrefix(s, "'") {
		s, _, _ = strings.Cut(s, "/")
		return strings.TrimRight(s, " ")
	}
	var out strings.Builder
	for i := 1; i < len(s); i++ {
		if s[i] == '\'' {
			if i+1 >= len(s) || s[i+1] != '\'' {
				break
			}
			i++
		}
		out.WriteByte(s[i])
	}
	return strings.TrimRight(out.String(), " ")
}

// measure reckons how many bytes of data there are (4.4.1.1).
func (u *unit) measure(size int64) error {
	number := func(key string, otherwise int64) int64 {
		v, err := strconv.ParseInt(u.values[key], 10, 64)
		if err != nil || v < 0 && key != "BITPIX" || v > 1<<40 {
			return otherwise
		}
		return v
	}
	bits := number("BITPIX", 0)
	bits = max(bits, -bits)
	axes := number("NAXIS", 0)
	if bits > 64 || axes > 999 {
		return errors.New("a header does not say how its data is laid out")
	}
	if axes > 0 {
		u.bytes = bits / 8
	}
	for i := range axes {
		n := number(fmt.Sprintf("NAXIS%d", i+1), 0)
		if n > 0 && u.bytes > size/n {
			return fmt.Errorf("byte %d: more data than the file of %d bytes has", u.data, size)
		}
		u.bytes *= n
	}
	if u.bytes += number("PCOUNT", 0); u.bytes > size-u.data {
		return fmt.Errorf("byte %d: %d bytes of data in a file of %d", u.data, u.bytes, size)
	}
	return nil
}
