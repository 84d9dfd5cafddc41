package tiff

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Picture is a TIFF picture as cameras and other programs write it: TIFF 6.0 or BigTIFF in either byte order, grey or RGB,
// of 8 or 16 bits or float32, in strips or tiles, uncompressed or by Deflate, LZW or PackBits. Samples beyond the colours,
// such as alpha, are passed over. A file of several pictures is refused, unless the others are smaller copies or masks.
type Picture struct {
	Width, Height int // px
	Channels      int // 1 or 3
	Sample        Sample
	Profile       []byte // ICC, nil if there is none

	r           io.ReaderAt
	size        int64
	order       binary.ByteOrder
	samples     int // a pixel, with those passed over
	inverted    bool
	compression int
	predictor   int
	planar      bool // each channel by itself
	tile        [2]int
	tiled       bool
	offsets     value // where each piece begins, and its bytes; all within the file
	counts      value

	pix   []byte // as in the file, without padding
	tools *unpackers
}

// More tags, TIFF 6.0.
const (
	tagFillOrder = 266
	tagPredictor = 317
)

// Compressions, TIFF 6.0 and Adobe's supplement of 2002.
const (
	plain        = 1
	lzwPacked    = 5
	deflate      = 8
	oldDeflate   = 32946
	packBits     = 32773
	noPredictor  = 1
	differences  = 2
	floatingDiff = 3
)

// Open reads the directory. Sizes are checked against the file's length before memory is taken.
func Open(r io.ReaderAt, size int64) (*Picture, error) {
	d, err := newReading(r, size)
	if err != nil {
		return nil, err
	}
	if pages := d.pages(); pages > 1 {
		return nil, fmt.Errorf("it holds %d pictures; only files of one picture are read: split it into a file for each", pages)
	}
	tags, err := d.fields(tagWidth, tagHeight, tagBits, tagCompression, tagPhotometric, tagFillOrder, tagOffsets, tagSamples, tagStripRows, tagCounts,
		tagPlanar, tagPredictor, tagTileWidth, tagTileHeight, tagTileOffsets, tagTileCounts, tagFormat, tagProfile)
	if err != nil {
		return nil, err
	}
	p := &Picture{r: r, size: size, order: d.order}
	return p, p.describe(tags)
}

// describe fills the picture from a directory.
func (p *Picture) describe(tags map[uint16]value) error {
	one := func(tag uint16, otherwise int) int { return tags[tag].number(otherwise) }
	p.Width, p.Height = one(tagWidth, 0), one(tagHeight, 0)
	p.samples, p.compression, p.predictor = one(tagSamples, 1), one(tagCompression, plain), one(tagPredictor, noPredictor)
	p.Profile = tags[tagProfile].b
	switch photometric := one(tagPhotometric, -1); photometric {
	case 0, 1:
		p.Channels, p.inverted = 1, photometric == 0
	case 2:
		p.Channels = 3
	default:
		return fmt.Errorf("colours of kind %d are not read, only grey and RGB", photometric)
	}
	if err := checkSides(p.Width, p.Height); err != nil {
		return err
	}
	switch {
	case p.samples < p.Channels || p.samples > 8:
		return fmt.Errorf("%d samples a pixel do not fit a picture of %d colours", p.samples, p.Channels)
	case one(tagFillOrder, 1) != 1:
		return errors.New("bits in reverse order are not read")
	}
	bits, format := one(tagBits, 1), one(tagFormat, 1)
	for i := 1; i < p.samples; i++ {
		if tags[tagBits].at(i, bits) != bits || tags[tagFormat].at(i, format) != format {
			return errors.New("samples of several kinds in one picture are not read")
		}
	}
	var err error
	if p.Sample, err = sampleOf(bits, format); err != nil {
		return err
	}
	p.planar = one(tagPlanar, 1) == 2 && p.samples > 1
	if p.inverted && p.Sample == Float32 {
		return errors.New("floating-point samples of which 0 is white are not read")
	}
	return p.layPieces(tags)
}

// sampleOf is the type of samples of so many bits in a format, 1 whole numbers, 3 floating-point.
func sampleOf(bits, format int) (Sample, error) {
	switch [2]int{bits, format} {
	case [2]int{8, 1}:
		return Uint8, nil
	case [2]int{16, 1}:
		return Uint16, nil
	case [2]int{32, 3}:
		return Float32, nil
	}
	return 0, fmt.Errorf("samples of %d bits in format %d are not read", bits, format)
}

// layPieces finds the strips or tiles.
func (p *Picture) layPieces(tags map[uint16]value) error {
	p.offsets, p.counts = tags[tagOffsets], tags[tagCounts]
	p.tile = [2]int{p.Width, min(tags[tagStripRows].number(p.Height), p.Height)}
	if p.tiled = tags[tagTileWidth].count() > 0; p.tiled {
		p.offsets, p.counts = tags[tagTileOffsets], tags[tagTileCounts]
		p.tile = [2]int{tags[tagTileWidth].number(0), tags[tagTileHeight].number(0)}
	}
	if p.tile[0] < 1 || p.tile[1] < 1 || p.tile[0] > 1<<20 || p.tile[1] > 1<<20 {
		return fmt.Errorf("pieces of %d×%d px", p.tile[0], p.tile[1])
	}
	n := int64(p.across()) * int64(p.down()) * int64(p.layers())
	if n != int64(p.offsets.count()) || n != int64(p.counts.count()) {
		return fmt.Errorf("%d pieces are wanted, the directory tells where %d are and how long %d", n, p.offsets.count(), p.counts.count())
	}
	for i := range p.pieces() {
		at, length := p.offsets.at64(i), p.counts.at64(i)
		if at > uint64(p.size) || length > uint64(p.size)-at {
			return fmt.Errorf("piece %d of %d bytes at byte %d of a file of %d", i, length, at, p.size)
		}
	}
	return nil
}

func (p *Picture) pieces() int        { return p.offsets.count() }
func (p *Picture) offset(i int) int64 { return int64(p.offsets.at64(i)) }
func (p *Picture) length(i int) int64 { return int64(p.counts.at64(i)) }

func (p *Picture) across() int { return (p.Width + p.tile[0] - 1) / p.tile[0] }
func (p *Picture) down() int   { return (p.Height + p.tile[1] - 1) / p.tile[1] }

// layers is how many times the picture is covered by pieces; inPiece how many samples a pixel has in one.
func (p *Picture) layers() int {
	if p.planar {
		return p.samples
	}
	return 1
}

func (p *Picture) inPiece() int { return p.samples / p.layers() }

// Load decodes the pixels, if that takes no more bytes of memory than most.
func (p *Picture) Load(most int64) error {
	row := int64(p.Width) * int64(p.samples) * int64(p.Sample.Bytes())
	piece := int64(p.tile[0]) * int64(p.tile[1]) * int64(p.inPiece()) * int64(p.Sample.Bytes())
	longest := int64(0)
	for i := range p.pieces() {
		longest = max(longest, p.length(i))
	}
	if all := row * int64(p.Height); all+piece+longest > most || piece*int64(p.pieces()) > 2*most {
		return fmt.Errorf("a picture of %d×%d px, in pieces of %d×%d px, is more than a file of %d bytes should hold", p.Width, p.Height, p.tile[0], p.tile[1], p.size)
	}
	p.pix = make([]byte, row*int64(p.Height))
	buf := make([]byte, piece)
	for i := range p.pieces() {
		b := buf
		if rows := p.rowsOf(i); !p.tiled { // the last strip is as long as what is left
			b = buf[:rows*p.tile[0]*p.inPiece()*p.Sample.Bytes()]
		}
		if err := p.unpack(i, b); err != nil {
			p.pix = nil
			return fmt.Errorf("byte %d: piece %d of %d: %w", p.offset(i), i, p.pieces(), err)
		}
		p.place(i, b)
	}
	return nil
}

// rowsOf is how many rows of the picture piece i reaches over.
func (p *Picture) rowsOf(i int) int {
	i %= p.across() * p.down()
	return min(p.tile[1], p.Height-i/p.across()*p.tile[1])
}

// place puts a piece where it belongs.
func (p *Picture) place(i int, b []byte) {
	layer := i / (p.across() * p.down())
	k := i % (p.across() * p.down())
	x0, y0 := k%p.across()*p.tile[0], k/p.across()*p.tile[1]
	n, s := p.Sample.Bytes(), p.inPiece()
	cols := min(p.tile[0], p.Width-x0)
	for y := range p.rowsOf(i) {
		from := b[y*p.tile[0]*s*n:]
		to := p.pix[((y0+y)*p.Width+x0)*p.samples*n:]
		if !p.planar {
			copy(to[:cols*s*n], from)
			continue
		}
		for x := range cols {
			copy(to[(x*p.samples+layer)*n:][:n], from[x*n:])
		}
	}
}

// Row gives row y, of Width·Channels samples in the file's units, once Load has been.
func (p *Picture) Row(y int, dst []float32) {
	n := p.Sample.Bytes()
	row := p.pix[y*p.Width*p.samples*n:]
	for x := range p.Width {
		for c := range p.Channels {
			dst[x*p.Channels+c] = p.sample(row[(x*p.samples+c)*n:])
		}
	}
}

func (p *Picture) sample(b []byte) float32 {
	switch p.Sample {
	case Uint8:
		if p.inverted {
			return float32(255 - b[0])
		}
		return float32(b[0])
	case Uint16:
		if p.inverted {
			return float32(65535 - p.order.Uint16(b))
		}
		return float32(p.order.Uint16(b))
	}
	return math.Float32frombits(p.order.Uint32(b))
}
