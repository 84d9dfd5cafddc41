package publish

import (
	"encoding/binary"
	"image"
	"image/jpeg"
	"io"
	"math"

	"plenilune/steps/format/png"
	"plenilune/steps/format/tiff"
)

const software = "plenilune"

// jpegQuality is high enough that no block shows on smooth ground (common practice, no source).
const jpegQuality = 92

func (p *picture) describe() string {
	if p.srgb() {
		return "The Moon. Samples are sRGB values (IEC 61966-2-1)."
	}
	if p.s.Depth == "float32" {
		return "The Moon. Samples are linear light, 1 = the camera's white level; NaN is no data."
	}
	return "The Moon. Samples are linear light, full scale = the camera's white level; 0 is no data."
}

func (p *picture) writeTIFF(w io.Writer) error {
	h := tiff.Header{Width: p.w, Height: p.h, Channels: p.c, Description: p.describe(), Software: software}
	h.Sample = map[string]tiff.Sample{"float32": tiff.Float32, "uint16": tiff.Uint16, "uint8": tiff.Uint8}[p.s.Depth]
	buf := make([]float32, p.w*p.c)
	return tiff.Encode(w, h, func(y int, dst []byte) error {
		if err := p.row(y, buf); err != nil {
			return err
		}
		for i, v := range buf {
			switch h.Sample {
			case tiff.Float32:
				binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(v))
			case tiff.Uint16:
				binary.LittleEndian.PutUint16(dst[2*i:], p.level(v, 65535))
			default:
				dst[i] = byte(p.level(v, 255))
			}
		}
		return nil
	})
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

// writeJPEG writes sRGB values, which a JPEG file without a profile is taken for.
func (p *picture) writeJPEG(w io.Writer) error {
	buf := make([]float32, p.w*p.c)
	grey, rgb := image.NewGray(image.Rectangle{}), image.NewRGBA(image.Rectangle{})
	if p.c == 1 {
		grey = image.NewGray(image.Rect(0, 0, p.w, p.h))
	} else {
		rgb = image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	}
	for y := range p.h {
		if err := p.row(y, buf); err != nil {
			return err
		}
		for i, v := range buf {
			b := byte(p.level(v, 255))
			if p.c == 1 {
				grey.Pix[y*grey.Stride+i] = b
				continue
			}
			at := y*rgb.Stride + 4*(i/p.c)
			rgb.Pix[at+i%p.c], rgb.Pix[at+3] = b, 255
		}
	}
	if p.c == 1 {
		return jpeg.Encode(w, grey, &jpeg.Options{Quality: jpegQuality})
	}
	return jpeg.Encode(w, rgb, &jpeg.Options{Quality: jpegQuality})
}
