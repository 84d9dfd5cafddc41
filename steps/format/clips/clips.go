// Package clips opens a file of frames of whatever kind, known by its content.
package clips

import (
	"fmt"
	"io"
	"strings"

	"plenilune/steps/format/avi"
	"plenilune/steps/format/fits"
	"plenilune/steps/format/raw"
	"plenilune/steps/format/ser"
)

// Kind is a kind of file.
type Kind struct {
	Name   string
	Begins func(head []byte) bool // tells it by its first bytes, up to headBytes
	// Open reads what a file says of itself. Every size is checked against the file's
	// before memory is taken.
	Open func(r io.ReaderAt, size int64) (*raw.Clip, error)
}

// Kinds lists what is read.
func Kinds() []Kind {
	return []Kind{
		{"SER", ser.Begins, ser.OpenClip},
		{"AVI", avi.Begins, avi.Open},
		{"FITS", fits.Begins, fits.OpenClip},
	}
}

const headBytes = 16

// Open opens a file of any kind that is read.
func Open(r io.ReaderAt, size int64) (*raw.Clip, error) {
	head := make([]byte, max(0, min(size, headBytes)))
	if n, err := r.ReadAt(head, 0); n < len(head) {
		return nil, fmt.Errorf("read header at byte %d: %w", n, err)
	}
	var names []string
	for _, k := range Kinds() {
		if k.Begins(head) {
			return k.Open(r, size)
		}
		names = append(names, k.Name)
	}
	return nil, fmt.Errorf("byte 0: the file begins like no clip that is read (%s, pictures of PNG, TIFF and JPEG, films of FFmpeg's kinds); leave it out", strings.Join(names, ", "))
}
