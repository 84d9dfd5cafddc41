package tiff

import (
	"bufio"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
)

// unpack decodes piece i into dst, of its length.
func (p *Picture) unpack(i int, dst []byte) error {
	if p.compression == plain {
		if n, err := io.ReadFull(io.NewSectionReader(p.r, p.offsets[i], p.counts[i]), dst); err != nil {
			return fmt.Errorf("%d bytes of %d: %w", n, len(dst), err)
		}
		return nil
	}
	if p.tools == nil {
		p.tools = &unpackers{in: bufio.NewReader(nil)}
	}
	p.tools.in.Reset(io.NewSectionReader(p.r, p.offsets[i], p.counts[i]))
	if err := p.tools.unpack(p.compression, dst); err != nil {
		return err
	}
	return p.sum(dst)
}

// unpackers are kept from piece to piece, of which there may be many.
type unpackers struct {
	in   *bufio.Reader
	zlib io.ReadCloser
	lzw  *lzwTable
}

func (u *unpackers) unpack(compression int, dst []byte) error {
	switch compression {
	case lzwPacked:
		if u.lzw == nil {
			u.lzw = &lzwTable{}
		}
		return noEOF(u.lzw.unpack(dst, u.in))
	case deflate, oldDeflate:
		var err error
		if u.zlib == nil {
			u.zlib, err = zlib.NewReader(u.in)
		} else {
			err = u.zlib.(zlib.Resetter).Reset(u.in, nil)
		}
		if err == nil {
			_, err = io.ReadFull(u.zlib, dst)
		}
		return noEOF(err)
	case packBits:
		_, err := io.ReadFull(&packed8{r: u.in}, dst)
		return noEOF(err)
	}
	return fmt.Errorf("compression %d is not read", compression)
}

func noEOF(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// sum undoes the predictor, row by row.
func (p *Picture) sum(b []byte) error {
	s, n := p.inPiece(), p.Sample.Bytes()
	row := p.tile[0] * s * n
	switch {
	case p.predictor == noPredictor:
		return nil
	case p.predictor == differences && p.Sample != Float32:
		for ; len(b) > 0; b = b[row:] {
			p.sumRow(b[:row], s)
		}
		return nil
	case p.predictor == floatingDiff && p.Sample == Float32:
		whole := make([]byte, row)
		for ; len(b) > 0; b = b[row:] {
			p.sumFloats(b[:row], whole, s)
		}
		return nil
	}
	return fmt.Errorf("predictor %d is not read of samples of %d bytes", p.predictor, n)
}

// sumRow undoes differences between samples (TIFF 6.0 section 14).
func (p *Picture) sumRow(b []byte, s int) {
	if p.Sample == Uint8 {
		for i := s; i < len(b); i++ {
			b[i] += b[i-s]
		}
		return
	}
	for i := 2 * s; i+1 < len(b); i += 2 {
		p.order.PutUint16(b[i:], p.order.Uint16(b[i:])+p.order.Uint16(b[i-2*s:]))
	}
}

// sumFloats undoes differences between bytes, which stand by their weight, the greatest first
// (Adobe Photoshop TIFF Technical Note 3, 2005).
func (p *Picture) sumFloats(b, whole []byte, s int) {
	for i := s; i < len(b); i++ {
		b[i] += b[i-s]
	}
	copy(whole, b)
	n := len(b) / 4
	for i := range n {
		v := uint32(whole[i])<<24 | uint32(whole[n+i])<<16 | uint32(whole[2*n+i])<<8 | uint32(whole[3*n+i])
		p.order.PutUint32(b[4*i:], v)
	}
}

// packed8 undoes PackBits (TIFF 6.0 section 9).
type packed8 struct {
	r    *bufio.Reader
	left int
	same bool // the next byte stands for all that are left
	b    byte
}

func (k *packed8) Read(dst []byte) (n int, err error) {
	for n < len(dst) {
		if k.left == 0 {
			if err := k.next(); err != nil {
				return n, err
			}
			continue
		}
		if !k.same {
			if k.b, err = k.r.ReadByte(); err != nil {
				return n, err
			}
		}
		dst[n] = k.b
		n, k.left = n+1, k.left-1
	}
	return n, nil
}

// next reads how the next bytes are packed.
func (k *packed8) next() error {
	h, err := k.r.ReadByte()
	if err != nil {
		return err
	}
	switch {
	case h < 128:
		k.left, k.same = int(h)+1, false
	case h > 128:
		k.left, k.same = 257-int(h), true
		k.b, err = k.r.ReadByte()
	}
	return err
}

// anyReading takes a directory of either byte order apart.
type anyReading struct {
	reading
	order binary.ByteOrder
	big   bool
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

// read are the tags that say something about the pixels.
var read = []uint16{tagWidth, tagHeight, tagBits, tagCompression, tagPhotometric, tagFillOrder, tagOffsets, tagSamples, tagStripRows, tagCounts,
	tagPlanar, tagPredictor, tagTileWidth, tagTileHeight, tagTileOffsets, tagTileCounts, tagFormat, tagProfile}

// tags reads the first directory, the only one of a picture by itself.
func (d *anyReading) tags() (map[uint16]value, error) {
	if err := d.begin(); err != nil {
		return nil, err
	}
	at, n, each := d.start()
	if pages := d.pages(at, n, each); pages > 1 {
		return nil, fmt.Errorf("it holds %d pictures; only files of one picture are read: split it into a file for each", pages)
	}
	return d.directoryOf(at, n, each, read...)
}

// begin reads the head of the file.
func (d *anyReading) begin() error {
	switch head := d.bytes(0, 4); string(head) {
	case "II*\x00", "II+\x00":
		d.order, d.big = binary.LittleEndian, head[2] == '+'
	case "MM\x00*", "MM\x00+":
		d.order, d.big = binary.BigEndian, head[3] == '+'
	default:
		if d.err != nil {
			return d.err
		}
		return errors.New("byte 0: not a TIFF file")
	}
	return nil
}

// directoryOf reads the wanted ones of a directory's n entries, of each bytes, that begin at byte at.
func (d *anyReading) directoryOf(at, n, each int64, wanted ...uint16) (map[uint16]value, error) {
	if d.err == nil && (n < 0 || n > maxEntries) {
		return nil, fmt.Errorf("byte %d: a directory of %d entries", at, n)
	}
	all := d.bytes(at, n*each)
	out := map[uint16]value{}
	room := d.size
	for i := int64(0); i < n && d.err == nil; i++ {
		e := all[i*each:][:each]
		tag := d.order.Uint16(e)
		if _, twice := out[tag]; twice || !slices.Contains(wanted, tag) {
			continue
		}
		v := d.value(e)
		if room -= int64(len(v.b)); room < 0 { // values that overlap would take memory many times over
			return nil, fmt.Errorf("byte %d: values longer than the file", at)
		}
		out[tag] = v
	}
	return out, d.err
}

// start finds the first directory: where its entries begin, how many there are, and the bytes of one.
func (d *anyReading) start() (at, n, each int64) {
	if d.big {
		at = int64(d.order.Uint64(d.bytes(8, 8)))
		return at + d.countBytes(), d.countAt(at), 20
	}
	at = int64(d.order.Uint32(d.bytes(4, 4)))
	return at + d.countBytes(), d.countAt(at), 12
}

// countAt is how many entries the directory at a place has, which stands in its first countBytes.
func (d *anyReading) countAt(at int64) int64 {
	if d.big {
		return int64(d.order.Uint64(d.bytes(at, d.countBytes())))
	}
	return int64(d.order.Uint16(d.bytes(at, d.countBytes())))
}

func (d *anyReading) countBytes() int64 {
	if d.big {
		return 8
	}
	return 2
}

// value reads the value of an entry.
func (d *anyReading) value(e []byte) value {
	kind := d.order.Uint16(e[2:])
	count, inline := int64(d.order.Uint32(e[4:])), e[8:]
	if d.big {
		count, inline = int64(d.order.Uint64(e[4:])), e[12:]
	}
	each := typeBytes(kind)
	if each == 0 || count < 0 || count > d.size/each {
		d.err = fmt.Errorf("tag %d has %d values of type %d in a file of %d bytes", d.order.Uint16(e), count, kind, d.size)
		return value{}
	}
	n := count * each
	if n <= int64(len(inline)) {
		return value{kind, inline[:n], d.order}
	}
	if d.big {
		return value{kind, d.bytes(int64(d.order.Uint64(inline)), n), d.order}
	}
	return value{kind, d.bytes(int64(d.order.Uint32(inline)), n), d.order}
}
