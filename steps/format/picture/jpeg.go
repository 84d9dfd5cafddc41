package picture

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// jpegFrame is what the head of a JPEG's frame tells.
type jpegFrame struct {
	channels int
	bytes    int64             // of memory that decoding takes, about
	exif     *io.SectionReader // nil: none stands before it
}

// frameOf finds the head of the frame (ITU-T T.81, B.2.2).
func frameOf(r io.ReaderAt, size int64) (jpegFrame, error) {
	b := make([]byte, 4)
	var exif *io.SectionReader
	for at, n := int64(2), 0; n < mostChunks; n++ {
		if err := fill(b, r, at); err != nil {
			return jpegFrame{}, err
		}
		marker, length := b[1], int64(binary.BigEndian.Uint16(b[2:]))
		switch {
		case b[0] != 0xff:
			at++ // bytes between segments, which decoders pass over
			continue
		case marker == 0xff:
			at++
			continue
		case marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc:
			f, err := readFrame(r, at+4, marker == 0xc2)
			f.exif = exif
			return f, err
		case marker == 0xe1 && exif == nil:
			exif = exifIn(r, at+4, length-2)
		}
		at += 2 + length
	}
	return jpegFrame{}, errors.New("no frame")
}

// readFrame reads the head of a frame at a place.
func readFrame(r io.ReaderAt, at int64, progressive bool) (jpegFrame, error) {
	b := make([]byte, 6+3*4)
	if err := fill(b[:6], r, at); err != nil {
		return jpegFrame{}, err
	}
	h, w, n := int64(binary.BigEndian.Uint16(b[1:])), int64(binary.BigEndian.Uint16(b[3:])), int(b[5])
	if n < 1 || n > 4 {
		return jpegFrame{}, fmt.Errorf("byte %d: %d components", at+5, n)
	}
	if err := fill(b[6:6+3*n], r, at+6); err != nil {
		return jpegFrame{}, err
	}
	widest, sum := int64(1), int64(0) // samples of all components to a square of the widest's
	for i := range n {
		f := int64(b[7+3*i]>>4) * int64(b[7+3*i]&15)
		widest, sum = max(widest, f), sum+f
	}
	each := int64(1)
	if progressive {
		each = 5 // its coefficients besides, of four bytes each
	}
	return jpegFrame{channels: n, bytes: (w + 32) * (h + 32) * sum / widest * each}, nil
}

// exifHead begins a segment that holds Exif (CIPA DC-008-2019, 4.7.2).
const exifHead = "Exif\x00\x00"

// exifIn is the Exif in a segment's n bytes at a place, nil where it holds none.
func exifIn(r io.ReaderAt, at, n int64) *io.SectionReader {
	b := make([]byte, len(exifHead))
	if n < int64(len(b)) || fill(b, r, at) != nil || string(b) != exifHead {
		return nil
	}
	return io.NewSectionReader(r, at+int64(len(b)), n-int64(len(b)))
}
