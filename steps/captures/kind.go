package captures

import (
	"bytes"
	"errors"

	"plenilune/pipeline"
	"plenilune/steps/format/avi"
	"plenilune/steps/format/picture"
)

// What a file is that holds no plain frames, and is laid out as such before it is read.
const (
	kindPicture = "picture"
	kindFilm    = "film"
)

// films are the marks by which containers of compressed video are known, and where they stand.
var films = []struct {
	at   int
	mark string
}{
	{4, "ftyp"}, {4, "moov"}, {4, "mdat"}, {4, "wide"}, {4, "free"}, {4, "skip"}, // ISO/IEC 14496-12, QuickTime
	{0, "\x1a\x45\xdf\xa3"},                          // Matroska, RFC 9559
	{0, "\x30\x26\xb2\x75\x8e\x66\xcf\x11"},          // ASF
	{0, "\x00\x00\x01\xba"}, {0, "\x00\x00\x01\xb3"}, // MPEG, ISO/IEC 13818-1 and -2
	{0, "\x00\x00\x00\x01\x67"}, {0, "\x00\x00\x00\x01\x40"}, // bare AVC and HEVC streams
	{0, "OggS"}, {0, "FLV\x01"}, {0, "YUV4MPEG2"}, {0, "DKIF"}, {0, "GIF8"}, {0, "nut/multimedia"},
	{0, "\x06\x0e\x2b\x34\x02\x05\x01\x01"}, // MXF, SMPTE ST 377-1
}

// foreign tells what a file is that could not be read as it is, "" for one that cannot be read at all.
func foreign(f pipeline.File, fault error) string {
	if errors.As(fault, new(*avi.Compressed)) {
		return kindFilm
	}
	if picture.Sniff(f, f.Size()) != "" {
		return kindPicture
	}
	b := make([]byte, min(4*192+1, f.Size()))
	n, _ := f.ReadAt(b, 0)
	b = b[:n]
	for _, m := range films {
		if len(b) > m.at && bytes.HasPrefix(b[m.at:], []byte(m.mark)) {
			return kindFilm
		}
	}
	for _, packet := range []int{188, 192} { // of an MPEG transport stream; cameras put four bytes before each
		first := packet - 188
		if len(b) > first+3*packet && b[first] == 0x47 && b[first+packet] == 0x47 && b[first+2*packet] == 0x47 && b[first+3*packet] == 0x47 {
			return kindFilm
		}
	}
	return ""
}
