// Package avi reads where the frames of uncompressed video lie in AVI files: RIFF files of
// version 1.0, with and without their index, and of OpenDML 2.0, of any length.
//
// Sources: "AVI RIFF File Reference" and "BITMAPINFOHEADER structure", Microsoft Learn;
// "OpenDML AVI File Format Extensions", version 1.02, OpenDML AVI M-JPEG File Format
// Subcommittee, 1996-02-28.
package avi

import (
	"encoding/binary"
	"fmt"
	"io"
)

// Begins tells whether a file's first bytes are those of AVI.
func Begins(head []byte) bool {
	return len(head) >= 12 && string(head[:4]) == "RIFF" && string(head[8:12]) == "AVI "
}

// headBytes is what stands before a chunk's data: its name and length. The data of an odd
// length is followed by one more byte.
const headBytes = 8

// listBytes is what stands before the chunks in a list: that, and what the list is.
const listBytes = 12

// chunk is a piece of a file.
type chunk struct {
	name string
	at   int64 // byte at which its data begins
	size int64 // of its data, as stated
}

// end is where the next chunk begins.
func (c chunk) end() int64 { return c.at + c.size + c.size&1 }

// file is what is read, and its length.
type file struct {
	r    io.ReaderAt
	size int64
}

// bytes reads n bytes, which must be few or have been checked against the file's length.
func (f file) bytes(at, n int64) ([]byte, error) {
	if at < 0 || n < 0 || n > f.size-at {
		return nil, fmt.Errorf("byte %d: the file ends within what is needed of it", f.size)
	}
	b := make([]byte, n)
	if k, err := f.r.ReadAt(b, at); int64(k) < n {
		return nil, fmt.Errorf("read at byte %d: %w", at+int64(k), err)
	}
	return b, nil
}

// chunk reads the head of a chunk; ok is false where there is none.
func (f file) chunk(at int64) (c chunk, ok bool) {
	if at > f.size-headBytes {
		return c, false
	}
	var b [headBytes]byte
	if n, _ := f.r.ReadAt(b[:], at); n < len(b) {
		return c, false
	}
	for _, v := range b[:4] {
		if v < ' ' || v > '~' {
			return c, false
		}
	}
	return chunk{string(b[:4]), at + headBytes, int64(binary.LittleEndian.Uint32(b[4:]))}, true
}

// kind reads what a list is.
func (f file) kind(c chunk) string {
	b, err := f.bytes(c.at, 4)
	if err != nil {
		return ""
	}
	return string(b)
}

// each calls a function for the chunks between two bytes.
func (f file) each(from, to int64, see func(c chunk) error) error {
	for at := from; at < to; {
		c, ok := f.chunk(at)
		if !ok {
			return nil
		}
		if err := see(c); err != nil {
			return err
		}
		at = c.end()
	}
	return nil
}
