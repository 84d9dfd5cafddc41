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

func TestPages(t *testing.T) {
	for _, k := range []struct {
		order binary.AppendByteOrder
		mark  string
		big   bool
	}{{binary.LittleEndian, "II*\x00", false}, {binary.BigEndian, "MM\x00*", false}, {binary.LittleEndian, "II+\x00", true}, {binary.BigEndian, "MM\x00+", true}} {
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
			_, err := OpenPicture(bytes.NewReader(b), int64(len(b)))
			if (err != nil) != (c.want != "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%q, uses %v: %v, want %q", k.mark, c.uses, err, c.want)
			}
		}
	}
	// directories in a ring, or a pointer to nowhere, are no further pictures
	b := pagesFile(binary.LittleEndian, "II*\x00", false, 0)
	for _, next := range []uint32{8, 1 << 30} {
		binary.LittleEndian.PutUint32(b[len(b)-4:], next)
		if _, err := OpenPicture(bytes.NewReader(b), int64(len(b))); err != nil {
			t.Errorf("next directory at byte %d: %v", next, err)
		}
	}
}
