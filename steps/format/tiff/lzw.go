package tiff

import (
	"errors"
	"io"
)

// Codes of TIFF's LZW (TIFF 6.0 section 13): they begin with nine bits, the first bit foremost, and grow one code early.
const (
	lzwClear    = 256
	lzwEnd      = 257
	lzwFirst    = 258
	lzwMostBits = 12
)

// lzwTable is what the codes of a piece mean: each the text of another and a byte more.
type lzwTable struct {
	before [1 << lzwMostBits]uint16
	last   [1 << lzwMostBits]byte
	length [1 << lzwMostBits]int
}

// unpack decodes into dst, until it is full.
func (t *lzwTable) unpack(dst []byte, r io.ByteReader) error {
	var hold uint32
	var have uint
	width, next, old, n := uint(9), lzwFirst, -1, 0
	for n < len(dst) {
		for have < width {
			b, err := r.ReadByte()
			if err != nil {
				return err
			}
			hold, have = hold<<8|uint32(b), have+8
		}
		code := int(hold >> (have - width) & (1<<width - 1))
		have -= width
		switch {
		case code == lzwClear:
			width, next, old = 9, lzwFirst, -1
			continue
		case code == lzwEnd:
			return io.ErrUnexpectedEOF
		case code > next || code >= lzwFirst && old < 0 || code == next && next >= 1<<lzwMostBits:
			return errors.New("a code that was not made yet")
		}
		if old >= 0 && next < 1<<lzwMostBits {
			t.before[next], t.length[next] = uint16(old), t.lengthOf(old)+1
			first := code
			if code == next {
				first = old
			}
			t.last[next] = t.first(first)
			next++
		}
		n += t.put(dst[n:], code)
		old = code
		if next+1 >= 1<<width && width < lzwMostBits {
			width++
		}
	}
	return nil
}

func (t *lzwTable) lengthOf(code int) int {
	if code < lzwClear {
		return 1
	}
	return t.length[code]
}

// first is the first byte of a code's text.
func (t *lzwTable) first(code int) byte {
	for code >= lzwFirst {
		code = int(t.before[code])
	}
	return byte(code)
}

// put writes a code's text, as far as there is room, and returns how much.
func (t *lzwTable) put(dst []byte, code int) int {
	n := t.lengthOf(code)
	for i := n - 1; i >= 0; i-- {
		b := byte(code)
		if code >= lzwFirst {
			b, code = t.last[code], int(t.before[code])
		}
		if i < len(dst) {
			dst[i] = b
		}
	}
	return min(n, len(dst))
}
