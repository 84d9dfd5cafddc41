package tiff

import (
	"io"
	"strings"
	"time"

	"plenilune/steps/format/moment"
)

// Tags of Exif: CIPA DC-008-2019 (Exif 2.32), section 4.6.3 and tables 7 and 8.
const (
	tagExif      = 34665
	tagTaken     = 36867 // DateTimeOriginal
	tagTakenZone = 36881 // OffsetTimeOriginal
	tagTakenPart = 37521 // SubSecTimeOriginal
)

// Moment is when a picture was taken, as it says itself.
type Moment struct {
	UnixNS int64 // since 1970: of UTC if Zoned, or else what the camera's clock showed, as if that were UTC; 0 if it does not say
	Zoned  bool  // it is known how far the clock was from UTC
}

// Taken is when the picture was taken that a TIFF structure describes, as the directory of Exif in it says: a TIFF file, or what a file
// of another kind holds of Exif. What is damaged, or no time, says nothing.
func Taken(r io.ReaderAt, size int64) Moment {
	d, err := newReading(r, size)
	if err != nil {
		return Moment{}
	}
	first, err := d.fields(tagExif)
	if err != nil || first[tagExif].count() != 1 || d.turn(int64(first[tagExif].at64(0))) != nil {
		return Moment{}
	}
	says, err := d.fields(tagTaken, tagTakenZone, tagTakenPart)
	if err != nil {
		return Moment{}
	}
	return momentOf(says[tagTaken].text(), says[tagTakenPart].text(), says[tagTakenZone].text())
}

// text is a text without what fills it up.
func (v value) text() string {
	if v.kind != typeASCII {
		return ""
	}
	s, _, _ := strings.Cut(string(v.b), "\x00")
	return strings.TrimSpace(s)
}

// momentOf reads a date with a time of day, digits of its second's parts, and how far the clock was ahead of UTC.
func momentOf(at, part, zone string) Moment {
	if part != "" && strings.Trim(part, "0123456789") == "" {
		at += "." + part
	}
	t, err := time.Parse("2006:01:02 15:04:05", at) // digits behind the seconds are read, too
	if err != nil || !moment.Believable(t) {
		return Moment{}
	}
	m := Moment{UnixNS: t.UnixNano()}
	if z, err := time.Parse("-07:00", zone); err == nil {
		_, ahead := z.Zone()
		m.UnixNS, m.Zoned = m.UnixNS-int64(ahead)*int64(time.Second), true
	}
	return m
}
