package avi

import (
	"encoding/binary"
	"fmt"

	"plenilune/steps/format/raw"
)

// Bytes of the structures that are read.
const (
	mainBytes   = 20 // of MainAVIHeader, up to the number of frames
	streamBytes = 36 // of AVIStreamHeader, up to its length
	bitmapBytes = 40 // of BITMAPINFOHEADER
	colourBytes = 4  // of a colour of the palette: blue, green, red, nothing
	colours     = 256
)

// heads is what the headers say of the first stream of pictures.
type heads struct {
	name     string // of the chunks that hold its frames, without their last letter
	declared int64
	format   chunk // strf
	indexes  chunk // indx; no name: none
}

// readHeads reads the list hdrl.
func (f file) readHeads(l chunk) (heads, error) {
	var h heads
	streams, found := 0, false
	var total int64 // as the file's header states it, of the first part of the file
	err := f.each(l.at+4, min(l.end(), f.size), func(c chunk) error {
		switch {
		case c.name == "avih":
			b, err := f.bytes(c.at, mainBytes)
			if err != nil {
				return err
			}
			total = int64(binary.LittleEndian.Uint32(b[16:]))
		case c.name == "LIST" && f.kind(c) == "strl":
			if !found {
				s, ok, err := f.readStream(c)
				if err != nil {
					return err
				}
				if ok {
					found, h = true, s
					h.name = fmt.Sprintf("%02dd", streams)
				}
			}
			streams++
		case c.name == "LIST" && f.kind(c) == "odml":
			return f.each(c.at+4, min(c.end(), f.size), func(c chunk) error {
				if c.name != "dmlh" {
					return nil
				}
				b, err := f.bytes(c.at, 4)
				if err == nil {
					total = max(total, int64(binary.LittleEndian.Uint32(b)))
				}
				return err
			})
		}
		return nil
	})
	if err == nil && !found {
		err = fmt.Errorf("byte %d: no stream of pictures is described; leave the file out", l.at)
	}
	h.declared = max(h.declared, total)
	return h, err
}

// readStream reads a list strl; ok is false unless it is of pictures.
func (f file) readStream(l chunk) (h heads, ok bool, err error) {
	err = f.each(l.at+4, min(l.end(), f.size), func(c chunk) error {
		switch c.name {
		case "strh":
			b, err := f.bytes(c.at, streamBytes)
			if err != nil {
				return err
			}
			ok = string(b[:4]) == "vids"
			h.declared = int64(binary.LittleEndian.Uint32(b[32:]))
		case "strf":
			h.format = c
		case "indx":
			h.indexes = c
		}
		return nil
	})
	if err == nil && ok && h.format.name == "" {
		err = fmt.Errorf("byte %d: the pictures' format is not described; leave the file out", l.at)
	}
	return h, ok, err
}

// Compressed is the error of a file whose frames are compressed, or laid out in a way that
// is not read.
type Compressed struct {
	At   int64  // byte
	Code string // four characters, as they stand
	Bits int    // a pixel, as stated
}

func (e *Compressed) Error() string {
	what := fmt.Sprintf("the video is packed as %q", e.Code)
	if e.Code == "\x00\x00\x00\x00" {
		what = fmt.Sprintf("the video has %d bits a pixel", e.Bits)
	}
	return fmt.Sprintf("byte %d: %s; of AVI, uncompressed video is read as it is (8 bit grey, 24 bit colour, %s), other video by way of FFmpeg",
		e.At, what, knownCodes)
}

// codes are the layouts of samples with a name of four characters, rows from the top:
// greys and filter patterns as Linux's "Video for Linux API" (V4L2, "Image Formats")
// publishes them; Y800 and Y8 are other names of GREY in common use (fourcc.org).
var codes = []struct {
	code    string
	bytes   int
	depth   int
	pattern string
}{
	{"Y800", 1, 8, raw.Mono}, {"GREY", 1, 8, raw.Mono}, {"Y8  ", 1, 8, raw.Mono},
	{"Y10 ", 2, 10, raw.Mono}, {"Y12 ", 2, 12, raw.Mono}, {"Y14 ", 2, 14, raw.Mono}, {"Y16 ", 2, 16, raw.Mono},
	{"RGGB", 1, 8, raw.RGGB}, {"GRBG", 1, 8, raw.GRBG}, {"GBRG", 1, 8, raw.GBRG}, {"BA81", 1, 8, raw.BGGR},
}

const knownCodes = "Y800, GREY, Y16, a filter mosaic of 8 bits"

// format is what a frame is.
type format struct {
	layout raw.Layout
	depth  int
	code   string // for people
}

// readFormat reads strf, a BITMAPINFOHEADER and what follows it.
func (f file) readFormat(c chunk) (format, error) {
	var out format
	if c.size < bitmapBytes {
		return out, fmt.Errorf("byte %d: the pictures' format has %d bytes, not %d or more; the header is damaged, leave the file out", c.at, c.size, bitmapBytes)
	}
	b, err := f.bytes(c.at, bitmapBytes)
	if err != nil {
		return out, err
	}
	width, height := int64(int32(binary.LittleEndian.Uint32(b[4:]))), int64(int32(binary.LittleEndian.Uint32(b[8:])))
	bits, code := int(binary.LittleEndian.Uint16(b[14:])), string(b[16:20])
	l := raw.Layout{Planes: 1, SampleBytes: 1, Pattern: raw.Mono, Width: int(width), Height: int(max(height, -height))}
	out.depth, out.code = 8, code
	switch {
	case code == "\x00\x00\x00\x00" && bits == 8:
		out.code, l.BottomUp = "DIB of 8 bits", height > 0
		if l.Grey, err = f.greys(c, b); err != nil {
			return out, err
		}
	case code == "\x00\x00\x00\x00" && bits == 24:
		out.code, l.BottomUp = "DIB of 24 bits", height > 0
		l.Planes, l.Pattern = 3, raw.BGR
	default:
		known := false
		for _, k := range codes {
			if k.code == code {
				known, l.SampleBytes, l.Pattern, out.depth = true, k.bytes, k.pattern, k.depth
			}
		}
		if !known {
			return out, &Compressed{c.at + 16, code, bits}
		}
	}
	l.Stride = l.Span()
	if err := l.Check(); err != nil {
		return out, fmt.Errorf("byte %d: %w; the header is damaged, leave the file out", c.at+4, err)
	}
	out.layout = l
	return out, nil
}

// greys reads the palette behind a BITMAPINFOHEADER; nil if each number means itself.
func (f file) greys(c chunk, head []byte) ([]byte, error) {
	from := int64(binary.LittleEndian.Uint32(head))
	if from < bitmapBytes || from > c.size {
		from = bitmapBytes
	}
	n := int64(binary.LittleEndian.Uint32(head[32:]))
	if n == 0 || n > colours {
		n = colours
	}
	n = min(n, (c.size-from)/colourBytes)
	b, err := f.bytes(c.at+from, n*colourBytes)
	if err != nil || n == 0 {
		return nil, err
	}
	out, plain := make([]byte, colours), n == colours
	for i := range n {
		blue, green, red := b[i*colourBytes], b[i*colourBytes+1], b[i*colourBytes+2]
		if blue != green || green != red {
			return nil, fmt.Errorf("byte %d: colour %d of the palette is no grey (red %d, green %d, blue %d); only grey palettes are read, leave the file out",
				c.at+from+i*colourBytes, i, red, green, blue)
		}
		out[i] = green
		plain = plain && int64(green) == i
	}
	if plain {
		return nil, nil
	}
	return out, nil
}
