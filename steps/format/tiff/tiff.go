// Package tiff writes TIFF and BigTIFF: little-endian, uncompressed, in strips or tiles,
// 1 or 3 channels, of samples up to float32. The directory stands at the end, so that a
// text can be put in later without moving pixels. What it reads is wider: see Picture.
//
// Sources: TIFF Revision 6.0 (Adobe, 1992); the BigTIFF design (2004–2007), whose
// entries have counts and offsets of 8 bytes.
package tiff

import (
	"encoding/binary"
	"fmt"
)

// Sample is the type of a sample.
type Sample int

// The types of samples, all little-endian.
const (
	Uint8 Sample = iota
	Uint16
	Float32 // NaN is no data
)

// Bytes returns the bytes of one sample.
func (s Sample) Bytes() int { return [...]int{1, 2, 4}[s] }

// Header is everything about a picture but its pixels.
type Header struct {
	Width, Height int
	Channels      int    // 1 grey, 3 red, green, blue
	Alpha         bool   // one more sample a pixel: 0 where there is no data
	Sample        Sample // of every channel
	Big           bool   // BigTIFF even where classic would do
	Tile          int    // side of square tiles, a multiple of 16; 0: strips
	Description   string
	Software      string
	PxPerCM       float64 // how large a print is meant to be; 0 says nothing
	Profile       []byte  // ICC colour profile, or nil
	XMP           []byte  // XMP packet, or nil
}

func (h Header) samples() int {
	if h.Alpha {
		return h.Channels + 1
	}
	return h.Channels
}

// RowBytes returns the bytes of one row of pixels.
func (h Header) RowBytes() int { return h.Width * h.samples() * h.Sample.Bytes() }

// maxSide keeps every product of sizes within 63 bits.
const maxSide = 1 << 20

func checkSides(w, h int) error {
	if w < 1 || w > maxSide || h < 1 || h > maxSide {
		return fmt.Errorf("a picture of %d×%d px: each side must lie in 1…%d", w, h, maxSide)
	}
	return nil
}

func (h Header) check() error {
	switch {
	case h.Channels != 1 && h.Channels != 3:
		return fmt.Errorf("%d channels: must be 1 or 3", h.Channels)
	case h.Tile < 0 || h.Tile%16 != 0 || h.Tile > 1<<14:
		return fmt.Errorf("tiles of %d px: their side must be a multiple of 16, at most 16384", h.Tile)
	case h.Sample < Uint8 || h.Sample > Float32:
		return fmt.Errorf("sample type %d is unknown", h.Sample)
	}
	return checkSides(h.Width, h.Height)
}

const (
	stripBytes   = 256 << 10 // about so much a strip; readers take whole strips
	classicLimit = 1<<32 - 64<<20
)

func (h Header) rowsPerStrip() int { return min(h.Height, max(1, stripBytes/h.RowBytes())) }

// across and down are how many tiles there are; the last are padded.
func (h Header) across() int { return (h.Width + h.Tile - 1) / h.Tile }
func (h Header) down() int   { return (h.Height + h.Tile - 1) / h.Tile }

// tileRow and tileBytes are the bytes of a row of a tile, and of a whole one.
func (h Header) tileRow() int   { return h.Tile * h.samples() * h.Sample.Bytes() }
func (h Header) tileBytes() int { return h.tileRow() * h.Tile }

// Bytes returns the bytes of all pixels as they stand in a file.
func (h Header) Bytes() int64 {
	if h.Tile > 0 {
		return int64(h.across()) * int64(h.down()) * int64(h.tileBytes())
	}
	return int64(h.RowBytes()) * int64(h.Height)
}

// big tells whether offsets of 4 bytes would not do, with room for texts behind
// the pixels.
func (h Header) big() bool { return h.Big || h.Bytes() > classicLimit }

// fileHead is the first bytes of a file; the pixels follow it.
func fileHead(big bool, directory int64) []byte {
	if big {
		b := []byte{'I', 'I', 43, 0, 8, 0, 0, 0}
		return binary.LittleEndian.AppendUint64(b, uint64(directory))
	}
	b := []byte{'I', 'I', 42, 0}
	return binary.LittleEndian.AppendUint32(b, uint32(directory))
}
