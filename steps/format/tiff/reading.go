package tiff

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
)

const maxEntries = 4096

// reading takes the directories of a file apart and keeps the first fault.
type reading struct {
	r     io.ReaderAt
	size  int64
	order binary.ByteOrder
	wide  int64 // bytes of a place in the file, and of a count of values: 4, of BigTIFF 8
	at, n int64 // where the entries of the directory begin whose fields are read, and how many there are
	err   error
}

// kindOf tells byte order and wide by a file's first four bytes; wide is 0 where it is no TIFF file.
func kindOf(head []byte) (order binary.ByteOrder, wide int64) {
	switch string(head[:min(len(head), 4)]) {
	case "II*\x00":
		return binary.LittleEndian, 4
	case "MM\x00*":
		return binary.BigEndian, 4
	case "II+\x00":
		return binary.LittleEndian, 8
	case "MM\x00+":
		return binary.BigEndian, 8
	}
	return nil, 0
}

// Begins tells whether a file that begins so is a TIFF file of any kind; four bytes are enough.
func Begins(head []byte) bool {
	_, wide := kindOf(head)
	return wide > 0
}

// newReading goes to the first directory.
func newReading(r io.ReaderAt, size int64) (*reading, error) {
	d := &reading{r: r, size: size}
	d.order, d.wide = kindOf(d.bytes(0, 4))
	if d.err == nil && d.wide == 0 {
		d.err = errors.New("byte 0: not a TIFF file")
	}
	if d.err != nil {
		return nil, d.err
	}
	return d, d.turn(d.number(d.bytes(d.wide, d.wide)))
}

// turn goes to the directory at a place.
func (d *reading) turn(place int64) error {
	d.at, d.n = d.directory(place)
	if d.err == nil && (d.n < 0 || d.n > maxEntries) {
		d.err = fmt.Errorf("byte %d: a directory of %d entries", d.at, d.n)
	}
	return d.err
}

// ReadXMP returns the XMP packet of a TIFF file of any kind, nil if there is none. Of several pictures in it the first's counts.
func ReadXMP(r io.ReaderAt, size int64) ([]byte, error) {
	d, err := newReading(r, size)
	if err != nil {
		return nil, err
	}
	tags, err := d.fields(tagXMP)
	return tags[tagXMP].b, err
}

// bytes returns n bytes at a place; zeros after a fault.
func (d *reading) bytes(at, n int64) []byte {
	if d.err == nil && (at < 0 || n < 0 || at > d.size || n > d.size-at) {
		d.err = fmt.Errorf("byte %d: %d bytes are wanted of a file of %d", at, n, d.size)
	}
	if d.err != nil {
		return make([]byte, min(max(n, 0), 8))
	}
	b := make([]byte, n)
	if k, err := d.r.ReadAt(b, at); int64(k) < n {
		d.err = fmt.Errorf("byte %d: %w", at, err)
	}
	return b
}

// number is what 2, 4 or 8 bytes mean.
func (d *reading) number(b []byte) int64 {
	switch len(b) {
	case 2:
		return int64(d.order.Uint16(b))
	case 4:
		return int64(d.order.Uint32(b))
	}
	return int64(d.order.Uint64(b))
}

// directory tells where the entries of the directory at a place begin, and how many there are.
func (d *reading) directory(place int64) (at, n int64) {
	count := int64(2)
	if d.wide == 8 {
		count = 8
	}
	return place + count, d.number(d.bytes(place, count))
}

// entryBytes is the length of an entry: tag, type, count, and the value or its place.
func (d *reading) entryBytes() int64 { return 4 + 2*d.wide }

// fields reads the values of some tags of the directory; of a tag that stands there twice the first counts.
func (d *reading) fields(wanted ...uint16) (map[uint16]value, error) {
	each := d.entryBytes()
	all := d.bytes(d.at, d.n*each)
	out := map[uint16]value{}
	room := d.size
	for i := int64(0); i < d.n && d.err == nil; i++ {
		e := all[i*each:][:each]
		tag := d.order.Uint16(e)
		if _, twice := out[tag]; twice || !slices.Contains(wanted, tag) {
			continue
		}
		out[tag] = d.value(e)
		if room -= int64(len(out[tag].b)); room < 0 { // values that overlap would take memory many times over
			return nil, fmt.Errorf("byte %d: values longer than the file", d.at)
		}
	}
	return out, d.err
}

// value reads the value of an entry.
func (d *reading) value(e []byte) value {
	kind, count, inline := d.order.Uint16(e[2:]), d.number(e[4:][:d.wide]), e[4+d.wide:]
	each := typeBytes(kind)
	if each == 0 || count < 0 || count > d.size/each {
		d.err = fmt.Errorf("tag %d has %d values of type %d in a file of %d bytes", d.order.Uint16(e), count, kind, d.size)
		return value{}
	}
	n := count * each
	if n <= int64(len(inline)) {
		return value{kind, inline[:n], d.order}
	}
	return value{kind, d.bytes(d.number(inline), n), d.order}
}

// value is what a tag says.
type value struct {
	kind  uint16
	b     []byte
	order binary.ByteOrder
}

func (v value) count() int {
	n := typeBytes(v.kind)
	if n == 0 {
		return 0
	}
	return len(v.b) / int(n)
}

// at64 is number i, 0 where there is none.
func (v value) at64(i int) uint64 {
	if i >= v.count() {
		return 0
	}
	switch v.kind {
	case typeByte:
		return uint64(v.b[i])
	case typeShort:
		return uint64(v.order.Uint16(v.b[2*i:]))
	case typeLong:
		return uint64(v.order.Uint32(v.b[4*i:]))
	case typeLong8:
		return v.order.Uint64(v.b[8*i:])
	}
	return 0
}

// at is number i, or another where there is none.
func (v value) at(i, otherwise int) int {
	if i >= v.count() {
		return otherwise
	}
	return int(min(v.at64(i), 1<<31))
}

func (v value) number(otherwise int) int { return v.at(0, otherwise) }
