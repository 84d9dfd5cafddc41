package publish

import (
	"encoding/binary"
	"io"
	"math"

	"plenilune/steps/format/fits"
	"plenilune/steps/format/icc"
	"plenilune/steps/format/png"
	"plenilune/steps/format/tiff"
)

const software = "plenilune"

// describe says what the samples are.
func (p *picture) describe() string {
	switch {
	case p.s.Plane != "":
		return "A picture of the Moon: its " + p.s.Plane + "."
	case p.srgb():
		return "The Moon. Samples are sRGB values (IEC 61966-2-1)."
	case p.s.Display && p.s.Depth == "float32":
		return "The Moon. Samples are linear light of a picture for the eye, 1 = white; NaN is no data."
	case p.s.Display:
		return "The Moon. Samples are linear light of a picture for the eye, full scale = white; 0 is no data."
	case p.s.Depth == "float32":
		return "The Moon. Samples are linear light, 1 = the camera's white level; NaN is no data."
	}
	return "The Moon. Samples are linear light, full scale = the camera's white level; 0 is no data."
}

// profile is the colour profile of the samples, nil where they are no light.
func (p *picture) profile() []byte {
	if p.s.Plane != "" {
		return nil
	}
	return icc.Profile(icc.Kind{Grey: p.c == 1, Linear: !p.srgb()})
}

// pxPerMM is the density of the print that is meant; 0 if none is.
func (p *picture) pxPerMM() float64 {
	if p.s.PrintWidthMM == 0 {
		return 0
	}
	return float64(p.w) / p.s.PrintWidthMM
}

// Pictures of more bytes than that are written in tiles, which viewers of large files read by parts.
const (
	tiledFrom = 1 << 31
	tileSide  = 512
)

func (p *picture) writeTIFF(w io.Writer) error {
	h := tiff.Header{Width: p.w, Height: p.h, Channels: p.c, Description: p.describe(), Software: software, Profile: p.profile(), PxPerCM: 10 * p.pxPerMM()}
	h.Sample = map[string]tiff.Sample{"float32": tiff.Float32, "uint16": tiff.Uint16, "uint8": tiff.Uint8}[p.s.Depth]
	if h.Bytes() > tiledFrom {
		h.Tile = tileSide
	}
	buf := make([]float32, p.w*p.c)
	return tiff.Encode(w, h, func(y int, dst []byte) error {
		if err := p.row(y, buf); err != nil {
			return err
		}
		for i, v := range buf {
			switch h.Sample {
			case tiff.Float32:
				binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(float32(p.value(v))))
			case tiff.Uint16:
				binary.LittleEndian.PutUint16(dst[2*i:], p.level(v, 65535))
			default:
				dst[i] = byte(p.level(v, 255))
			}
		}
		return nil
	})
}

// writeFITS writes one plane a channel.
func (p *picture) writeFITS(w io.Writer) error {
	buf, last := make([]float32, p.w*p.c), -1
	asked := 0 // rows; all of them are asked for twice, first for their checksum
	f := fits.Picture{W: p.w, H: p.h, Channels: p.c, Whole: p.s.Depth == "uint16"}
	f.Row = func(c, y int, dst []float32) error {
		asked++
		if y != last {
			if err := p.row(y, buf); err != nil {
				return err
			}
			last = y
		}
		for x := range dst {
			v := buf[x*p.c+c]
			if dst[x] = float32(p.value(v)); f.Whole && asked <= p.h*p.c {
				p.level(v, 65535) // counts what is cut
			}
		}
		return nil
	}
	f.Cards = []fits.Card{{Key: "OBJECT", Value: "Moon"}, {Key: "CREATOR", Value: software}}
	for _, line := range fits.Lines(p.describe()) {
		f.Cards = append(f.Cards, fits.Card{Key: "COMMENT", Comment: line})
	}
	return fits.Encode(w, f)
}

func (p *picture) writePNG(w io.Writer) error {
	bits, top := 16, 65535.0
	if p.s.Depth == "uint8" {
		bits, top = 8, 255
	}
	meaning := png.Linear()
	if p.srgb() {
		meaning = png.SRGB()
	}
	if d := p.pxPerMM(); d > 0 {
		meaning = append(meaning, png.Density(uint32(math.Round(1000*d))))
	}
	buf := make([]float32, p.w*p.c)
	rows := png.Rows{W: p.w, H: p.h, Channels: p.c, Bits: bits, Each: p.each, Row: func(y int, dst []uint16) error {
		if err := p.row(y, buf); err != nil {
			return err
		}
		for i, v := range buf {
			dst[i] = p.level(v, top)
		}
		return nil
	}}
	return png.Encode(w, rows, meaning...)
}
