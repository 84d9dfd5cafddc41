package tiff

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// Tags, TIFF 6.0 part 1 but for those said otherwise.
const (
	tagWidth       = 256
	tagHeight      = 257
	tagBits        = 258
	tagCompression = 259
	tagPhotometric = 262
	tagDescription = 270
	tagOffsets     = 273
	tagSamples     = 277
	tagStripRows   = 278
	tagCounts      = 279
	tagXResolution = 282
	tagYResolution = 283
	tagPlanar      = 284
	tagUnit        = 296
	tagSoftware    = 305
	tagTileWidth   = 322
	tagTileHeight  = 323
	tagTileOffsets = 324
	tagTileCounts  = 325
	tagExtra       = 338
	tagFormat      = 339
	tagXMP         = 700   // XMP specification part 3
	tagProfile     = 34675 // ICC.1 annex B
)

// Types of values, TIFF 6.0 section 2; the last is BigTIFF's.
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeUndefined = 7
	typeLong8     = 16
)

func typeBytes(t uint16) int64 {
	switch t {
	case typeByte, typeASCII, typeUndefined:
		return 1
	case typeShort:
		return 2
	case typeLong:
		return 4
	case typeRational, typeLong8:
		return 8
	}
	return 0
}

// entry is one field of a directory, its value laid out as in the file.
type entry struct {
	tag, kind uint16
	value     []byte
}

func shorts(tag uint16, v ...uint16) entry {
	e := entry{tag: tag, kind: typeShort}
	for _, x := range v {
		e.value = binary.LittleEndian.AppendUint16(e.value, x)
	}
	return e
}

func long(tag uint16, v int) entry {
	return entry{tag, typeLong, binary.LittleEndian.AppendUint32(nil, uint32(v))}
}

func ascii(tag uint16, s string) entry { return entry{tag, typeASCII, append([]byte(s), 0)} }

// ratio states v in thousandths, which is finer than any printer.
func ratio(tag uint16, v float64) entry {
	b := binary.LittleEndian.AppendUint32(nil, uint32(math.Round(min(max(v, 0.001), 4e6)*1000)))
	return entry{tag, typeRational, binary.LittleEndian.AppendUint32(b, 1000)}
}

// entries lists the fields of h whose pixels begin at byte start.
func (h Header) entries(start int64) []entry {
	n := h.samples()
	bits, format := make([]uint16, n), make([]uint16, n)
	for i := range n {
		bits[i], format[i] = uint16(8*h.Sample.Bytes()), 1
		if h.Sample == Float32 {
			format[i] = 3
		}
	}
	photometric := uint16(1) // 0 is black
	if h.Channels == 3 {
		photometric = 2 // RGB
	}
	density, unit := h.PxPerCM, uint16(3)
	if density <= 0 {
		density, unit = 1, 1 // square pixels of no stated size
	}
	out := []entry{
		long(tagWidth, h.Width), long(tagHeight, h.Height), shorts(tagBits, bits...), shorts(tagCompression, 1),
		shorts(tagPhotometric, photometric), shorts(tagSamples, uint16(n)),
		ratio(tagXResolution, density), ratio(tagYResolution, density), shorts(tagPlanar, 1), shorts(tagUnit, unit),
		shorts(tagFormat, format...),
	}
	if h.Alpha {
		out = append(out, shorts(tagExtra, 2)) // unassociated
	}
	if h.Description != "" {
		out = append(out, ascii(tagDescription, h.Description))
	}
	if h.Software != "" {
		out = append(out, ascii(tagSoftware, h.Software))
	}
	if h.Profile != nil {
		out = append(out, entry{tagProfile, typeUndefined, h.Profile})
	}
	if h.XMP != nil {
		out = append(out, entry{tagXMP, typeByte, h.XMP})
	}
	if h.Tile > 0 {
		return append(out, append(h.tiles(start), long(tagTileWidth, h.Tile), long(tagTileHeight, h.Tile))...)
	}
	return append(out, append(h.strips(start), long(tagStripRows, h.rowsPerStrip()))...)
}

// strips lists where each strip begins and its bytes.
func (h Header) strips(start int64) []entry {
	rows := h.rowsPerStrip()
	var sizes []int64
	for y := 0; y < h.Height; y += rows {
		sizes = append(sizes, int64(min(rows, h.Height-y))*int64(h.RowBytes()))
	}
	return h.pieces(tagOffsets, tagCounts, start, sizes)
}

// tiles lists where each tile begins and its bytes.
func (h Header) tiles(start int64) []entry {
	return h.pieces(tagTileOffsets, tagTileCounts, start, slices.Repeat([]int64{int64(h.tileBytes())}, h.across()*h.down()))
}

// pieces lists where each of some pieces begins, one after the other, and its bytes.
func (h Header) pieces(offsetTag, countTag uint16, start int64, sizes []int64) []entry {
	offsets, counts := entry{tag: offsetTag, kind: typeLong}, entry{tag: countTag, kind: typeLong}
	if h.big() {
		offsets.kind, counts.kind = typeLong8, typeLong8
	}
	put := func(e *entry, v int64) {
		if h.big() {
			e.value = binary.LittleEndian.AppendUint64(e.value, uint64(v))
		} else {
			e.value = binary.LittleEndian.AppendUint32(e.value, uint32(v))
		}
	}
	for _, n := range sizes {
		put(&offsets, start)
		put(&counts, n)
		start += n
	}
	return []entry{offsets, counts}
}

// directory lays entries out for byte at of a file: long values first, then the
// directory itself, whose place it returns.
func directory(at int64, big bool, entries []entry) (tail []byte, place int64) {
	slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.tag, b.tag) })
	inline := 4
	put := func(b []byte, v int64) []byte { return binary.LittleEndian.AppendUint32(b, uint32(v)) }
	if big {
		inline = 8
		put = func(b []byte, v int64) []byte { return binary.LittleEndian.AppendUint64(b, uint64(v)) }
	}
	var dir []byte
	for _, e := range entries {
		dir = binary.LittleEndian.AppendUint16(dir, e.tag)
		dir = binary.LittleEndian.AppendUint16(dir, e.kind)
		dir = put(dir, int64(len(e.value))/typeBytes(e.kind))
		if len(e.value) <= inline {
			dir = append(append(dir, e.value...), make([]byte, inline-len(e.value))...)
			continue
		}
		dir = put(dir, at+int64(len(tail)))
		tail = append(tail, e.value...)
		tail = append(tail, make([]byte, len(tail)%2)...) // values begin at even bytes
	}
	place = at + int64(len(tail))
	if big {
		tail = binary.LittleEndian.AppendUint64(tail, uint64(len(entries)))
	} else {
		tail = binary.LittleEndian.AppendUint16(tail, uint16(len(entries)))
	}
	return put(append(tail, dir...), 0), place // no further directory
}
