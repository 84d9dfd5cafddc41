package tiff

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// File is an open picture, as Encode writes it.
type File struct {
	Header   Header
	r        io.ReaderAt
	isBig    bool
	start    int64 // of the pixels, which lie in one piece
	pixelEnd int64
}

const maxEntries = 4096

// known lists the tags that say something about the pixels or that Header keeps.
var known = []uint16{tagWidth, tagHeight, tagBits, tagCompression, tagPhotometric, tagDescription, tagOffsets, tagSamples, tagCounts,
	tagXResolution, tagPlanar, tagUnit, tagSoftware, tagTileWidth, tagTileHeight, tagTileOffsets, tagTileCounts, tagFormat, tagXMP, tagProfile}

// Open reads the directory. Sizes are checked against the file's length before
// memory is taken. Kinds of TIFF that Encode does not write are refused.
func Open(r io.ReaderAt, size int64) (*File, error) {
	f := &File{r: r}
	d := &reading{r: r, size: size}
	head := d.bytes(0, 4)
	switch string(head) {
	case "II*\x00":
	case "II+\x00":
		f.isBig = true
	default:
		if d.err != nil {
			return nil, d.err
		}
		return nil, errors.New("byte 0: not a little-endian TIFF file")
	}
	entries := d.directory(f.isBig, func(tag uint16) bool { return slices.Contains(known, tag) })
	if d.err != nil {
		return nil, d.err
	}
	if err := f.describe(entries); err != nil {
		return nil, err
	}
	return f, f.check(size, entries)
}

// ReadXMP returns the XMP packet of any little-endian TIFF file, nil if there is none.
func ReadXMP(r io.ReaderAt, size int64) ([]byte, error) {
	d := &reading{r: r, size: size}
	head := string(d.bytes(0, 4))
	if d.err == nil && head != "II*\x00" && head != "II+\x00" {
		return nil, errors.New("byte 0: not a little-endian TIFF file")
	}
	for _, e := range d.directory(head == "II+\x00", func(tag uint16) bool { return tag == tagXMP }) {
		return e.value, d.err
	}
	return nil, d.err
}

// Row reads row y, of Header.RowBytes, into dst.
func (f *File) Row(y int, dst []byte) error {
	n := f.Header.RowBytes()
	if y < 0 || y >= f.Header.Height || len(dst) < n {
		return fmt.Errorf("row %d of %d into %d bytes", y, f.Header.Height, len(dst))
	}
	if f.Header.Tile > 0 {
		return f.tiledRow(y, dst[:n])
	}
	at := f.start + int64(y)*int64(n)
	if k, err := f.r.ReadAt(dst[:n], at); k < n {
		return fmt.Errorf("byte %d: read row %d: %w", at, y, err)
	}
	return nil
}

// tiledRow gathers a row from the tiles that it crosses.
func (f *File) tiledRow(y int, dst []byte) error {
	h := f.Header
	at := f.start + int64(y/h.Tile*h.across())*int64(h.tileBytes()) + int64(y%h.Tile)*int64(h.tileRow())
	for ; len(dst) > 0; at += int64(h.tileBytes()) {
		n := min(len(dst), h.tileRow())
		if k, err := f.r.ReadAt(dst[:n], at); k < n {
			return fmt.Errorf("byte %d: read row %d: %w", at, y, err)
		}
		dst = dst[n:]
	}
	return nil
}

// check holds the pixels against the file's length, and the strips against where
// Encode puts them.
func (f *File) check(size int64, entries []entry) error {
	if err := f.Header.check(); err != nil {
		return fmt.Errorf("read directory: %w", err)
	}
	f.pixelEnd = f.start + f.Header.Bytes()
	if f.start < 8 || f.pixelEnd > size {
		return fmt.Errorf("byte %d: pixels of %d×%d end at byte %d of a file of %d", f.start, f.Header.Width, f.Header.Height, f.pixelEnd, size)
	}
	pieces := f.Header.strips
	if f.Header.Tile > 0 {
		pieces = f.Header.tiles
	}
	for _, want := range pieces(f.start) {
		if !slices.ContainsFunc(entries, func(e entry) bool { return e.tag == want.tag && bytes.Equal(e.value, want.value) }) {
			return errors.New("pixels that do not lie in one piece are not read")
		}
	}
	return nil
}

// describe fills the header from a directory.
func (f *File) describe(entries []entry) error {
	h := &f.Header
	h.Big = f.isBig
	bits, format, unit := 1, 1, 2
	for _, e := range entries {
		v := e.first()
		switch e.tag {
		case tagWidth:
			h.Width = int(min(v, 1<<31))
		case tagHeight:
			h.Height = int(min(v, 1<<31))
		case tagBits:
			bits = int(v)
		case tagCompression:
			if v != 1 {
				return fmt.Errorf("compression %d is not read", v)
			}
		case tagPhotometric:
			h.Channels = map[uint64]int{1: 1, 2: 3}[v]
		case tagSamples:
			h.Alpha = v == 2 || v == 4
		case tagPlanar:
			if v != 1 {
				return errors.New("separate planes are not read")
			}
		case tagFormat:
			format = int(v)
		case tagTileWidth, tagTileHeight:
			if h.Tile != 0 && h.Tile != int(min(v, 1<<31)) {
				return errors.New("tiles that are not square are not read")
			}
			h.Tile = int(min(v, 1<<31))
		case tagOffsets, tagTileOffsets:
			f.start = int64(min(v, 1<<62))
		case tagXResolution:
			h.PxPerCM = e.ratio()
		case tagUnit:
			unit = int(v)
		case tagDescription:
			h.Description = strings.TrimRight(string(e.value), "\x00")
		case tagSoftware:
			h.Software = strings.TrimRight(string(e.value), "\x00")
		case tagXMP:
			h.XMP = e.value
		case tagProfile:
			h.Profile = e.value
		}
	}
	if unit != 3 {
		h.PxPerCM = 0
	}
	return h.setSample(bits, format)
}

func (h *Header) setSample(bits, format int) error {
	switch [2]int{bits, format} {
	case [2]int{8, 1}:
		h.Sample = Uint8
	case [2]int{16, 1}:
		h.Sample = Uint16
	case [2]int{32, 3}:
		h.Sample = Float32
	default:
		return fmt.Errorf("samples of %d bits in format %d are not read", bits, format)
	}
	return nil
}

// first returns the first number of a value, 0 for texts.
func (e entry) first() uint64 {
	switch {
	case e.kind == typeShort && len(e.value) >= 2:
		return uint64(binary.LittleEndian.Uint16(e.value))
	case e.kind == typeLong && len(e.value) >= 4:
		return uint64(binary.LittleEndian.Uint32(e.value))
	case e.kind == typeLong8 && len(e.value) >= 8:
		return binary.LittleEndian.Uint64(e.value)
	}
	return 0
}

func (e entry) ratio() float64 {
	if e.kind != typeRational || len(e.value) < 8 {
		return 0
	}
	den := binary.LittleEndian.Uint32(e.value[4:])
	if den == 0 {
		return 0
	}
	return float64(binary.LittleEndian.Uint32(e.value)) / float64(den)
}

// reading takes bytes of a file and keeps the first fault.
type reading struct {
	r      io.ReaderAt
	size   int64
	values int64 // bytes of all values read
	err    error
}

// bytes returns n bytes at a place; zeros after a fault.
func (d *reading) bytes(at, n int64) []byte {
	if d.err == nil && (at < 0 || n < 0 || at > d.size || n > d.size-at) {
		d.err = fmt.Errorf("byte %d: %d bytes are wanted of a file of %d", at, n, d.size)
	}
	if d.err != nil {
		return make([]byte, min(max(n, 0), 64))
	}
	b := make([]byte, n)
	if k, err := d.r.ReadAt(b, at); int64(k) < n {
		d.err = fmt.Errorf("byte %d: %w", at, err)
	}
	return b
}

// number reads a number of 4 or 8 bytes.
func (d *reading) number(at int64, big bool) int64 {
	if big {
		return int64(binary.LittleEndian.Uint64(d.bytes(at, 8)))
	}
	return int64(binary.LittleEndian.Uint32(d.bytes(at, 4)))
}

// directory reads the wanted entries of the first directory with their values.
func (d *reading) directory(big bool, want func(tag uint16) bool) []entry {
	at, width, inline := d.number(4, false), int64(12), int64(4)
	var n int64
	if big {
		at, width, inline = d.number(8, true), 20, 8
		n = d.number(at, true)
		at += 8
	} else {
		n = int64(binary.LittleEndian.Uint16(d.bytes(at, 2)))
		at += 2
	}
	if d.err == nil && (n < 0 || n > maxEntries) {
		d.err = fmt.Errorf("byte %d: a directory of %d entries", at, n)
	}
	var out []entry
	for last := -1; n > 0 && d.err == nil; n-- {
		b := d.bytes(at, 4)
		tag := binary.LittleEndian.Uint16(b)
		if int(tag) <= last && d.err == nil { // also keeps a value from being asked for many times
			d.err = fmt.Errorf("byte %d: tag %d after tag %d", at, tag, last)
		}
		if want(tag) && d.err == nil {
			out = append(out, d.entry(at, tag, binary.LittleEndian.Uint16(b[2:]), big, inline))
		}
		last = int(tag)
		at += width
	}
	if n == 0 {
		d.number(at, big) // where a next directory stands; a file cut here is damaged
	}
	return out
}

// entry reads the value of the entry at a place.
func (d *reading) entry(at int64, tag, kind uint16, big bool, inline int64) entry {
	count, each := d.number(at+4, big), typeBytes(kind)
	if d.err == nil && (each == 0 || count < 0 || count > d.size/each) {
		d.err = fmt.Errorf("byte %d: tag %d has %d values of type %d in a file of %d bytes", at, tag, count, kind, d.size)
		return entry{}
	}
	if d.values += count * each; d.err == nil && d.values > d.size { // many tags can point to one place
		d.err = fmt.Errorf("byte %d: the values of the tags overlap: they have more bytes than the file, %d", at, d.size)
		return entry{}
	}
	place := at + 4 + inline
	if count*each > inline {
		place = d.number(place, big)
	}
	return entry{tag, kind, d.bytes(place, count*each)}
}
