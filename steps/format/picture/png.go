package picture

import (
	"encoding/binary"
	"fmt"
	"image/png"
	"io"
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
	b := make([]byte, 29)
	if n, err := p.r.ReadAt(b, 8); n < 21 {
		return fmt.Errorf("byte %d: %w", 8+n, noEOF(err))
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

// readMeaning looks at what stands before the pixels for what the samples are proportional to.
func (p *Picture) readMeaning() error {
	head := make([]byte, 8)
	profiled := false
	for at, n := int64(8), 0; n < mostChunks; n++ {
		if k, err := p.r.ReadAt(head, at); k < 8 {
			return fmt.Errorf("byte %d: %w", at, noEOF(err))
		}
		length := int64(binary.BigEndian.Uint32(head))
		switch kind := string(head[4:]); kind {
		case "IDAT":
			if p.Encoding == "" && profiled { // the profiles that programs put into pictures mean nearly this curve
				p.Encoding, p.Why = SRGB, "the file's colour profile"
			}
			return nil
		case "sRGB":
			p.Encoding, p.Why = SRGB, "the file says so"
		case "gAMA":
			p.gamma(at + 8)
		case "cICP":
			p.coded(at + 8)
		case "iCCP":
			profiled = true
		case "tRNS":
			p.most *= 4 // alpha besides
		}
		at += 12 + length
	}
	return fmt.Errorf("%d chunks before the pixels", mostChunks)
}

// gamma takes what a chunk gAMA says, unless something better was said.
func (p *Picture) gamma(at int64) {
	b := make([]byte, 4)
	if n, _ := p.r.ReadAt(b, at); n < 4 || p.Encoding != "" {
		return
	}
	switch g := binary.BigEndian.Uint32(b); {
	case g >= 95000 && g <= 105000:
		p.Encoding = Linear
	case g >= 40000 && g <= 60000:
		p.Encoding = SRGB
	default:
		return
	}
	p.Why = "the file's gamma says so"
}

// coded takes what a chunk cICP says: ITU-T H.273, transfer characteristics.
func (p *Picture) coded(at int64) {
	b := make([]byte, 4)
	if n, _ := p.r.ReadAt(b, at); n < 4 {
		return
	}
	switch b[1] {
	case 8:
		p.Encoding, p.Why = Linear, "the file says so"
	case 13:
		p.Encoding, p.Why = SRGB, "the file says so"
	}
}

func (p *Picture) loadPNG() error {
	m, err := png.Decode(io.NewSectionReader(p.r, 0, p.size))
	if err != nil {
		return err
	}
	return p.rowsOf(m)
}

func noEOF(err error) error {
	if err == nil || err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}
