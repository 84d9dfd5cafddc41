// Package png writes PNG files, several stripes at once, with chunks that tell the
// meaning of the samples, and texts.
//
// Source: Portable Network Graphics (PNG) Specification, third edition, W3C
// Recommendation 24 June 2025.
package png

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

const signature = "\x89PNG\r\n\x1a\n"

// Chunk is one piece of a file: four letters of type, and data.
type Chunk struct {
	Type string
	Data []byte
}

// append lays a chunk out: length, type, data, and the sum of the last two.
func (c Chunk) append(b []byte) []byte {
	b = binary.BigEndian.AppendUint32(b, uint32(len(c.Data)))
	from := len(b)
	b = append(append(b, c.Type...), c.Data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[from:]))
}

// Chunks reads the chunks of a file for which want is true, in file order; the
// data of others is passed over. Lengths are checked against the file's before
// memory is taken. A file that ends before its last chunk is an error.
func Chunks(r io.ReaderAt, size int64, want func(kind string) bool) ([]Chunk, error) {
	head := make([]byte, len(signature))
	if n, err := r.ReadAt(head, 0); n < len(head) || string(head) != signature {
		if err != nil && err != io.EOF {
			return nil, fmt.Errorf("byte 0: read the signature: %w", err)
		}
		return nil, errors.New("byte 0: not a PNG file")
	}
	var out []Chunk
	for at := int64(len(head)); ; {
		var h [8]byte
		if n, err := r.ReadAt(h[:], at); n < len(h) {
			return nil, fmt.Errorf("byte %d: the file ends between chunks: %w", at, unexpected(err))
		}
		n, kind := int64(binary.BigEndian.Uint32(h[:])), string(h[4:])
		if at+12+n > size {
			return nil, fmt.Errorf("byte %d: a chunk %q of %d bytes in a file of %d", at, kind, n, size)
		}
		if want(kind) {
			b := make([]byte, n+4)
			if k, err := r.ReadAt(b, at+8); k < len(b) {
				return nil, fmt.Errorf("byte %d: read chunk %q: %w", at, kind, unexpected(err))
			}
			sum := crc32.Update(crc32.ChecksumIEEE(h[4:]), crc32.IEEETable, b[:n])
			if sum != binary.BigEndian.Uint32(b[n:]) {
				return nil, fmt.Errorf("byte %d: chunk %q is damaged: its sum does not fit", at, kind)
			}
			out = append(out, Chunk{kind, b[:n:n]})
		}
		if kind == "IEND" {
			return out, nil
		}
		at += 12 + n
	}
}

func unexpected(err error) error {
	if err == nil || err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// Insert returns the file with chunks put before its first IDAT, after all that
// stood there.
func Insert(file []byte, chunks ...Chunk) ([]byte, error) {
	at, err := firstData(file)
	if err != nil {
		return nil, err
	}
	n := len(file)
	for _, c := range chunks {
		n += 12 + len(c.Data)
	}
	out := append(make([]byte, 0, n), file[:at]...)
	for _, c := range chunks {
		out = c.append(out)
	}
	return append(out, file[at:]...), nil
}

// firstData finds where the first IDAT begins.
func firstData(file []byte) (int, error) {
	if !bytes.HasPrefix(file, []byte(signature)) {
		return 0, errors.New("byte 0: not a PNG file")
	}
	for at := len(signature); at+12 <= len(file); {
		if string(file[at+4:at+8]) == "IDAT" {
			return at, nil
		}
		n := int64(binary.BigEndian.Uint32(file[at:]))
		if n > int64(len(file)-at-12) {
			break
		}
		at += 12 + int(n)
	}
	return 0, errors.New("no picture data in the PNG file")
}
