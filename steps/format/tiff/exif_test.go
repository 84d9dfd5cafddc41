package tiff

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"
)

// exif lays out a TIFF structure whose Exif says a time, the parts of its second and a zone.
func exif(order binary.AppendByteOrder, mark, at, part, zone string) []byte {
	b := append([]byte(mark), order.AppendUint16(nil, 42)...)
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, 1)
	entry := func(tag, kind uint16, count, value uint32) {
		b = order.AppendUint32(order.AppendUint32(order.AppendUint16(order.AppendUint16(b, tag), kind), count), value)
	}
	entry(tagExif, typeLong, 1, 26)
	b = order.AppendUint16(order.AppendUint32(b, 0), 3)
	texts := []byte{}
	for _, e := range []struct {
		tag  uint16
		text string
	}{{tagTaken, at}, {tagTakenZone, zone}, {tagTakenPart, part}} {
		text := append([]byte(e.text), 0)
		if len(text) <= 4 { // its bytes stand in the entry, in their order
			b = order.AppendUint32(order.AppendUint16(order.AppendUint16(b, e.tag), typeASCII), uint32(len(text)))
			b = append(b, append(text, make([]byte, 4-len(text))...)...)
			continue
		}
		entry(e.tag, typeASCII, uint32(len(text)), uint32(26+2+3*12+4+len(texts)))
		texts = append(texts, text...)
	}
	return append(order.AppendUint32(b, 0), texts...)
}

// CIPA DC-008-2019, tables 7 and 8: "YYYY:MM:DD HH:MM:SS", a second's decimals as digits, and "±HH:MM"; unknown is filled with blanks.
func TestTaken(t *testing.T) {
	shown := time.Date(2024, 3, 19, 21, 4, 5, 0, time.UTC).UnixNano()
	const hour = int64(time.Hour)
	for _, c := range []struct {
		name, at, part, zone string
		want                 Moment
	}{
		{"an hour ahead", "2024:03:19 21:04:05", "25", "+01:00", Moment{shown + 250e6 - hour, true}},
		{"behind, inline decimals", "2024:03:19 21:04:05", "5", "-03:30", Moment{shown + 500e6 + 7*hour/2, true}},
		{"long decimals", "2024:03:19 21:04:05", "123456", "+00:00", Moment{shown + 123456e3, true}},
		{"no zone", "2024:03:19 21:04:05", "", "", Moment{shown, false}},
		{"a zone of blanks", "2024:03:19 21:04:05", "   ", "   :  ", Moment{shown, false}},
		{"unknown", "    :  :     :  :  ", "", "+01:00", Moment{}},
		{"never set", "0000:00:00 00:00:00", "", "", Moment{}},
		{"before clocks", "1904:01:01 00:00:00", "", "+00:00", Moment{}},
		{"no time", "yesterday evening!!", "", "", Moment{}},
	} {
		for mark, order := range map[string]binary.AppendByteOrder{"II": binary.LittleEndian, "MM": binary.BigEndian} {
			b := exif(order, mark, c.at, c.part, c.zone)
			if got := Taken(bytes.NewReader(b), int64(len(b))); got != c.want {
				t.Errorf("%s, %s: %+v, want %+v", c.name, mark, got, c.want)
			}
			for n := range b { // cut anywhere it is damaged, and says nothing or what it did
				if got := Taken(bytes.NewReader(b[:n]), int64(n)); got != (Moment{}) && got != c.want {
					t.Errorf("%s, %s, cut after %d of %d bytes: %+v", c.name, mark, n, len(b), got)
				}
			}
		}
	}
}
