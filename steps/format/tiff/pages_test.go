package tiff

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"
)

// pagesFile is a TIFF file of grey pictures of 1×1 px, a directory for each with the use that its tag 254 tells (TIFF 6.0 section 8).
func pagesFile(order binary.AppendByteOrder, mark string, big bool, uses ...uint32) []byte {
	put := func(b []byte, v int) []byte {
		if big {
			return order.AppendUint64(b, uint64(v))
		}
		return order.AppendUint32(b, uint32(v))
	}
	b := []byte(mark)
	if big {
		b = order.AppendUint16(order.AppendUint16(b, 8), 0)
	}
	b = put(b, len(put(nil, 0))+len(b))
	for i, use := range uses {
		fields := [][2]int{{tagSubfile, int(use)}, {tagWidth, 1}, {tagHeight, 1}, {tagBits, 8}, {tagCompression, 1}, {tagPhotometric, 1}, {tagOffsets, 0},
			{tagSamples, 1}, {tagStripRows, 1}, {tagCounts, 1}}
		if big {
			b = order.AppendUint64(b, uint64(len(fields)))
		} else {
			b = order.AppendUint16(b, uint16(len(fields)))
		}
		for _, f := range fields {
			b = put(order.AppendUint16(order.AppendUint16(b, uint16(f[0])), typeLong), 1)
			b = order.AppendUint32(b, uint32(f[1]))
			if big {
				b = order.AppendUint32(b, 0)
			}
		}
		next := len(put(b, 0))
		if i == len(uses)-1 {
			next = 0
		}
		b = put(b, next)
	}
	return b
}

// strangers are the kinds of TIFF file: their byte orders and first bytes, and which are BigTIFF.
var strangers = []struct {
	order binary.AppendByteOrder
	mark  string
	big   bool
}{{binary.LittleEndian, "II*\x00", false}, {binary.BigEndian, "MM\x00*", false}, {binary.LittleEndian, "II+\x00", true}, {binary.BigEndian, "MM\x00+", true}}

// TestXMPOfStrangers: the text is read in either byte order, of the first picture where there are several.
func TestXMPOfStrangers(t *testing.T) {
	const text = "<x:xmpmeta/>"
	for _, k := range strangers {
		b := pagesFile(k.order, k.mark, k.big, 0, 0)
		r := bytes.NewReader(b)
		if x, err := ReadXMP(r, r.Size()); err != nil || x != nil {
			t.Errorf("%q without a text: %q, %v", k.mark, x, err)
		}
		first := bytes.Index(b, k.order.AppendUint16(k.order.AppendUint16(nil, tagSubfile), typeLong))
		k.order.AppendUint16(k.order.AppendUint16(b[:first], tagXMP), typeByte)
		if k.big {
			k.order.AppendUint64(k.order.AppendUint64(b[:first+4], uint64(len(text))), uint64(len(b)))
		} else {
			k.order.AppendUint32(k.order.AppendUint32(b[:first+4], uint32(len(text))), uint32(len(b)))
		}
		r = bytes.NewReader(append(b, text...))
		if x, err := ReadXMP(r, r.Size()); err != nil || string(x) != text {
			t.Errorf("%q: %q, %v", k.mark, x, err)
		}
		if _, err := ReadXMP(r, r.Size()-1); err == nil {
			t.Errorf("%q: a text that is cut off was read", k.mark)
		}
	}
}

func TestPages(t *testing.T) {
	for _, k := range strangers {
		for _, c := range []struct {
			uses []uint32
			want string
		}{
			{[]uint32{0}, ""},
			{[]uint32{0, 1, 4, 5}, ""}, // smaller copies and masks
			{[]uint32{0, 0}, "it holds 2 pictures"},
			{[]uint32{2, 2, 1, 2}, "it holds 3 pictures; only files of one picture are read: split it into a file for each"},
		} {
			b := pagesFile(k.order, k.mark, k.big, c.uses...)
			_, err := Open(bytes.NewReader(b), int64(len(b)))
			if (err != nil) != (c.want != "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%q, uses %v: %v, want %q", k.mark, c.uses, err, c.want)
			}
		}
	}
	// directories in a ring, or a pointer to nowhere, are no further pictures
	b := pagesFile(binary.LittleEndian, "II*\x00", false, 0)
	for _, next := range []uint32{8, 1 << 30} {
		binary.LittleEndian.PutUint32(b[len(b)-4:], next)
		if _, err := Open(bytes.NewReader(b), int64(len(b))); err != nil {
			t.Errorf("next directory at byte %d: %v", next, err)
		}
	}
}
