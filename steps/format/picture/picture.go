// Package picture reads single pictures of the kinds that cameras and their programs write: PNG, TIFF and JPEG.
package picture

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"

	"plenilune/steps/format/tiff"
)

// Kinds of pictures.
const (
	PNG  = "PNG"
	TIFF = "TIFF"
	JPEG = "JPEG"
)

// What a picture's samples are proportional to, as far as it says so.
const (
	Linear = "linear" // light
	SRGB   = "srgb"   // the encoding of IEC 61966-2-1
)

// Picture is what the head of a file tells. Row gives samples after Load.
type Picture struct {
	Kind          string
	Width, Height int    // px
	Channels      int    // 1 or 3
	Bits          int    // a sample: 8, 16, or 32 for float32
	Encoding      string // Linear, SRGB, or "" where the file says nothing
	Why           string // what says so

	r    io.ReaderAt
	size int64
	tiff *tiff.Picture
	exif *io.SectionReader // nil: none
	most int64             // bytes of memory that the decoder needs, about
	row  func(y int, dst []float32)
}

// bound is how many bytes of memory a file of a size may take: what it holds four times over, and what a small file that
// is well compressed may hold.
func bound(size int64) int64 { return 64<<20 + 4*size }

// Sniff tells a picture's kind by its first bytes, "" for none.
func Sniff(r io.ReaderAt, size int64) string {
	b := make([]byte, min(8, max(size, 0)))
	if fill(b, r, 0) != nil {
		return ""
	}
	begins := func(s string) bool { return len(b) >= len(s) && string(b[:len(s)]) == s }
	switch {
	case begins("\x89PNG\r\n\x1a\n"):
		return PNG
	case tiff.Begins(b):
		return TIFF
	case begins("\xff\xd8\xff"):
		return JPEG
	}
	return ""
}

// Open reads what stands before the pixels.
func Open(r io.ReaderAt, size int64) (*Picture, error) {
	p := &Picture{Kind: Sniff(r, size), r: r, size: size}
	var err error
	switch p.Kind {
	case PNG:
		err = p.openPNG()
	case TIFF:
		err = p.openTIFF()
	case JPEG:
		err = p.openJPEG()
	default:
		return nil, errors.New("it begins like no PNG, TIFF or JPEG picture")
	}
	if err != nil {
		return nil, fmt.Errorf("read as %s: %w", p.Kind, err)
	}
	return p, nil
}

// Load decodes the pixels. Sizes that the file is too short for are refused before memory is taken.
func (p *Picture) Load() error {
	if p.most > bound(p.size) {
		return fmt.Errorf("read as %s: %d×%d px are more than a file of %d bytes should hold", p.Kind, p.Width, p.Height, p.size)
	}
	var err error
	switch p.Kind {
	case PNG:
		err = p.loadPNG()
	case TIFF:
		if err = p.tiff.Load(bound(p.size)); err == nil {
			p.row = p.tiff.Row
		}
	case JPEG:
		err = p.loadJPEG()
	}
	if err != nil {
		return fmt.Errorf("read as %s: %w", p.Kind, err)
	}
	return nil
}

// Taken is when the picture was taken, as far as the Exif in it says: in a segment APP1 of JPEG, in a chunk eXIf of PNG before the
// pixels, in TIFF itself.
func (p *Picture) Taken() tiff.Moment {
	if p.exif == nil {
		return tiff.Moment{}
	}
	return tiff.Taken(p.exif, p.exif.Size())
}

// Row gives row y: Width·Channels samples, 0…2^Bits−1, or as they are where Bits is 32.
func (p *Picture) Row(y int, dst []float32) { p.row(y, dst) }

func (p *Picture) openTIFF() (err error) {
	if p.tiff, err = tiff.Open(p.r, p.size); err != nil {
		return err
	}
	t := p.tiff
	p.exif = io.NewSectionReader(p.r, 0, p.size)
	p.Width, p.Height, p.Channels, p.Bits = t.Width, t.Height, t.Channels, 8*t.Sample.Bytes()
	if t.Profile != nil {
		p.Encoding, p.Why = profileEncoding(t.Profile), "the file's colour profile"
	}
	return nil
}

func (p *Picture) openJPEG() error {
	c, err := jpeg.DecodeConfig(io.NewSectionReader(p.r, 0, p.size))
	if err != nil {
		return err
	}
	f, err := frameOf(p.r, p.size)
	if err != nil {
		return err
	}
	p.Width, p.Height, p.Bits, p.Channels = c.Width, c.Height, 8, f.channels
	p.Encoding, p.Why = SRGB, "JPEG pictures are"
	p.most, p.exif = f.bytes, f.exif
	if f.channels != 1 && f.channels != 3 {
		return fmt.Errorf("pictures of %d inks are not read, only grey and RGB", f.channels)
	}
	return nil
}

func (p *Picture) loadJPEG() error {
	m, err := jpeg.Decode(io.NewSectionReader(p.r, 0, p.size))
	if err != nil {
		return err
	}
	return p.rowsOf(m)
}

// rowsOf takes the rows of a decoded picture.
func (p *Picture) rowsOf(m image.Image) error {
	if b := m.Bounds(); b.Min != (image.Point{}) || b.Dx() != p.Width || b.Dy() != p.Height {
		return fmt.Errorf("pixels at %v of a picture of %d×%d px", b, p.Width, p.Height)
	}
	switch m := m.(type) {
	case *image.Gray:
		p.row = func(y int, dst []float32) { bytes8(dst[:p.Width], m.Pix[y*m.Stride:], 1, 1) }
	case *image.Gray16:
		p.row = func(y int, dst []float32) { bytes16(dst[:p.Width], m.Pix[y*m.Stride:], 1, 1) }
	case *image.RGBA:
		p.row = func(y int, dst []float32) { bytes8(dst, m.Pix[y*m.Stride:], p.Channels, 4) }
	case *image.NRGBA:
		p.row = func(y int, dst []float32) { bytes8(dst, m.Pix[y*m.Stride:], p.Channels, 4) }
	case *image.RGBA64:
		p.row = func(y int, dst []float32) { bytes16(dst, m.Pix[y*m.Stride:], p.Channels, 4) }
	case *image.NRGBA64:
		p.row = func(y int, dst []float32) { bytes16(dst, m.Pix[y*m.Stride:], p.Channels, 4) }
	case *image.YCbCr:
		p.row = func(y int, dst []float32) {
			for x := range p.Width {
				i, k := m.YOffset(x, y), m.COffset(x, y)
				r, g, b := color.YCbCrToRGB(m.Y[i], m.Cb[k], m.Cr[k])
				dst[3*x], dst[3*x+1], dst[3*x+2] = float32(r), float32(g), float32(b)
			}
		}
	case *image.Paletted:
		var of [256][3]float32
		for i, c := range m.Palette {
			n := color.NRGBAModel.Convert(c).(color.NRGBA)
			of[i] = [3]float32{float32(n.R), float32(n.G), float32(n.B)}
		}
		p.row = func(y int, dst []float32) {
			for x := range p.Width {
				c := of[m.Pix[y*m.Stride+x]]
				copy(dst[3*x:], c[:])
			}
		}
	default:
		return fmt.Errorf("pixels of the kind %T are not read", m)
	}
	return nil
}

// bytes8 takes the first channels of every group of samples.
func bytes8(dst []float32, b []byte, channels, group int) {
	for x := range len(dst) / channels {
		for c := range channels {
			dst[x*channels+c] = float32(b[x*group+c])
		}
	}
}

// bytes16 does so of samples of two bytes, the greater first.
func bytes16(dst []float32, b []byte, channels, group int) {
	for x := range len(dst) / channels {
		for c := range channels {
			k := 2 * (x*group + c)
			dst[x*channels+c] = float32(uint16(b[k])<<8 | uint16(b[k+1]))
		}
	}
}
