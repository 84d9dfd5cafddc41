package picture

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image/png"
	"io"

	ownpng "plenilune/steps/format/png"
)

// Kinds of colour, PNG specification (third edition) table 8.
const (
	pngGrey      = 0
	pngRGB       = 2
	pngPalette   = 3
	pngGreyAlpha = 4
	pngRGBA      = 6
)

// mostChunks is how many chunks are looked at before the pixels.
const mostChunks = 4096

// openPNG reads the header and what is said of the colours.
func (p *Picture) openPNG() error {
	b := make([]byte, 21)
	if err := fill(b, p.r, 8); err != nil {
		return err
	}
	if string(b[4:8]) != "IHDR" {
		return fmt.Errorf("byte 12: no header")
	}
	w, h, bits, colour, interlaced := binary.BigEndian.Uint32(b[8:]), binary.BigEndian.Uint32(b[12:]), int(b[16]), b[17], b[20] != 0
	if w < 1 || w > 1<<20 || h < 1 || h > 1<<20 {
		return fmt.Errorf("a picture of %d×%d px: each side must lie in 1…%d", w, h, 1<<20)
	}
	p.Width, p.Height, p.Bits, p.Channels = int(w), int(h), max(bits, 8), 1
	samples := 1 // in memory
	switch colour {
	case pngGrey:
	case pngPalette:
		p.Channels = 3
	case pngRGB, pngRGBA:
		p.Channels, samples = 3, 4
	case pngGreyAlpha:
		samples = 4
	default:
		return fmt.Errorf("byte 25: colours of kind %d", colour)
	}
	p.most = int64(w) * int64(h) * int64(samples) * int64(p.Bits/8)
	if interlaced {
		p.most *= 2
	}
	return p.readMeaning()
}

// meaning is what a chunk says that samples are proportional to.
type meaning struct{ encoding, why string }

// readMeaning looks at what stands before the pixels for what the samples are proportional to. Of several chunks that say it
// the first of cICP, iCCP, sRGB and gAMA counts, whatever their order in the file (PNG specification, third edition, 4.3).
func (p *Picture) readMeaning() error {
	head := make([]byte, 8)
	said := map[string]meaning{}
	for at, n := int64(8), 0; n < mostChunks; n++ {
		if err := fill(head, p.r, at); err != nil {
			return err
		}
		length := int64(binary.BigEndian.Uint32(head))
		switch kind := string(head[4:]); kind {
		case "IDAT":
			for _, kind := range []string{"cICP", "iCCP", "sRGB", "gAMA"} {
				if m := said[kind]; p.Encoding == "" {
					p.Encoding, p.Why = m.encoding, m.why
				}
			}
			return nil
		case "sRGB":
			said[kind] = meaning{SRGB, "the file says so"}
		case "gAMA":
			said[kind] = p.gamma(at + 8)
		case "cICP":
			said[kind] = p.coded(at + 8)
		case "iCCP":
			if _, ok := said[kind]; !ok {
				said[kind] = p.profiled(at+8, length)
			}
		case "eXIf": // PNG specification, third edition, 11.3.4.5: Exif from the mark of its order of bytes on
			if length <= p.size-at-8 {
				p.exif = io.NewSectionReader(p.r, at+8, length)
			}
		case "tRNS":
			p.most *= 4 // alpha besides
		}
		at += 12 + length
	}
	return fmt.Errorf("%d chunks before the pixels", mostChunks)
}

// gamma is what a chunk gAMA says.
func (p *Picture) gamma(at int64) meaning {
	b := make([]byte, 4)
	if fill(b, p.r, at) != nil {
		return meaning{}
	}
	const why = "the file's gamma says so"
	switch g := binary.BigEndian.Uint32(b); {
	case g >= 95000 && g <= 105000:
		return meaning{Linear, why}
	case g >= 40000 && g <= 60000:
		return meaning{SRGB, why}
	}
	return meaning{}
}

// coded is what a chunk cICP says: ITU-T H.273, transfer characteristics.
func (p *Picture) coded(at int64) meaning {
	b := make([]byte, 4)
	if fill(b, p.r, at) != nil {
		return meaning{}
	}
	switch b[1] {
	case 8:
		return meaning{Linear, "the file says so"}
	case 13:
		return meaning{SRGB, "the file says so"}
	}
	return meaning{}
}

// mostProfile bounds a colour profile, packed and unpacked, in bytes.
const mostProfile = 4 << 20

// profiled is what the colour profile in a chunk iCCP says. One that cannot be read is taken for what most are, sRGB's curve or
// nearly so.
func (p *Picture) profiled(at, length int64) meaning {
	m := meaning{SRGB, "the file's colour profile"}
	if length > min(mostProfile, p.size-at) {
		return m
	}
	b := make([]byte, length)
	if fill(b, p.r, at) != nil {
		return m
	}
	_, packed, ok := bytes.Cut(b, []byte{0}) // behind the profile's name
	if !ok || len(packed) < 1 || packed[0] != 0 {
		return m
	}
	if profile, err := ownpng.Inflate(packed[1:], mostProfile); err == nil {
		m.encoding = profileEncoding(profile)
	}
	return m
}

func (p *Picture) loadPNG() error {
	m, err := png.Decode(io.NewSectionReader(p.r, 0, p.size))
	if err != nil {
		return err
	}
	return p.rowsOf(m)
}

// fill reads as many bytes as dst has room for, from byte at on.
func fill(dst []byte, r io.ReaderAt, at int64) error {
	n, err := r.ReadAt(dst, at)
	switch {
	case n == len(dst):
		return nil
	case err == io.EOF:
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("byte %d: %w", at+int64(n), err)
}
