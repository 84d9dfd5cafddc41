package publish

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
)

// jpegQuality is high enough that no block shows on smooth ground (common practice, no source); below leastQuality a picture is
// better made smaller.
const (
	jpegQuality  = 92
	leastQuality = 30
)

// longestJPEG is how many pixels a side may have (ITU-T T.81, B.2.2: 16 bits).
const longestJPEG = 65535

// writeJPEG writes sRGB values, and says so by a profile. Under a bound on the file's size it takes the highest quality that keeps
// to it.
func (p *picture) writeJPEG(w io.Writer) error {
	img, err := p.bytes8()
	if err != nil {
		return err
	}
	try := func(quality int) ([]byte, error) {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
			return nil, fmt.Errorf("encode: %w", err)
		}
		return p.tagged(b.Bytes())
	}
	p.quality = jpegQuality
	file, err := try(jpegQuality)
	room := p.s.MaxBytes
	if err == nil && room > 0 {
		if room -= recordInJPEG(); len(file) > room {
			file, err = p.squeezed(room, try)
		}
	}
	if err != nil {
		return err
	}
	_, err = w.Write(file)
	return err
}

// squeezed halves the range of qualities until the highest is found whose file has room.
func (p *picture) squeezed(room int, try func(quality int) ([]byte, error)) (best []byte, err error) {
	fits, not := leastQuality-1, jpegQuality
	for not-fits > 1 {
		q := (fits + not) / 2
		b, err := try(q)
		if err != nil {
			return nil, err
		}
		if len(b) <= room {
			fits, best = q, b
		} else {
			not = q
		}
	}
	if p.quality = fits; best == nil {
		return try(leastQuality)
	}
	return best, nil
}

// bytes8 draws the picture with 8 bits a sample.
func (p *picture) bytes8() (image.Image, error) {
	buf := make([]float32, p.w*p.c)
	if p.c == 1 {
		grey := image.NewGray(image.Rect(0, 0, p.w, p.h))
		for y := range p.h {
			if err := p.row(y, buf); err != nil {
				return nil, err
			}
			for x, v := range buf {
				grey.Pix[y*grey.Stride+x] = byte(p.level(v, 255))
			}
		}
		return grey, nil
	}
	rgb := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	for y := range p.h {
		if err := p.row(y, buf); err != nil {
			return nil, err
		}
		for i, v := range buf {
			at := y*rgb.Stride + 4*(i/p.c)
			rgb.Pix[at+i%p.c], rgb.Pix[at+3] = byte(p.level(v, 255)), 255
		}
	}
	return rgb, nil
}

// soi begins a JPEG file; jfif is the segment after it (ITU-T T.871), iccProfile begins that of a profile (ICC.1:2010, annex B.4).
const (
	soi        = "\xff\xd8"
	jfif       = "JFIF\x00\x01\x02"
	iccProfile = "ICC_PROFILE\x00\x01\x01"
)

func segment(marker byte, content []byte) []byte {
	b := binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(2+len(content)))
	return append(b, content...)
}

// tagged puts the density of print and the profile into a file.
func (p *picture) tagged(file []byte) ([]byte, error) {
	head := []byte(jfif + "\x00\x00\x01\x00\x01\x00\x00") // pixels are square, no thumbnail
	if d := p.pxPerMM(); d > 0 {
		head[7] = 1 // dots an inch
		n := uint16(max(1, min(65535, math.Round(float64(d*25.4)))))
		binary.BigEndian.PutUint16(head[8:], n)
		binary.BigEndian.PutUint16(head[10:], n)
	}
	return inserted(file, segment(0xe0, head), segment(0xe2, append([]byte(iccProfile), p.profile()...)))
}

// inserted puts segments at the beginning of a file, behind a JFIF segment if there is one.
func inserted(file []byte, segments ...[]byte) ([]byte, error) {
	if !bytes.HasPrefix(file, []byte(soi)) {
		return nil, errors.New("byte 0: not a JPEG file")
	}
	at := len(soi)
	if len(file) > at+4 && file[at] == 0xff && file[at+1] == 0xe0 {
		at = min(len(file), at+2+int(binary.BigEndian.Uint16(file[at+2:])))
	}
	out := append([]byte{}, file[:at]...)
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, file[at:]...), nil
}
