package tiff

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Encode writes a picture. Row fills dst, of RowBytes, with row y; it is called
// for y = 0, 1, … once each. Equal pictures give equal bytes.
func Encode(w io.Writer, h Header, row func(y int, dst []byte) error) error {
	if err := h.check(); err != nil {
		return err
	}
	head, _, tail := h.around()
	if _, err := w.Write(head); err != nil {
		return fmt.Errorf("write head: %w", err)
	}
	pixels := h.writeRows
	if h.Tile > 0 {
		pixels = h.writeTiles
	}
	if err := pixels(w, row); err != nil {
		return err
	}
	pad := make([]byte, h.Bytes()%2)
	if _, err := w.Write(append(pad, tail...)); err != nil {
		return fmt.Errorf("write directory: %w", err)
	}
	return nil
}

func (h Header) writeRows(w io.Writer, row func(y int, dst []byte) error) error {
	buf := make([]byte, h.RowBytes())
	for y := range h.Height {
		if err := row(y, buf); err != nil {
			return fmt.Errorf("make row %d: %w", y, err)
		}
		if _, err := w.Write(buf); err != nil {
			return fmt.Errorf("write row %d: %w", y, err)
		}
	}
	return nil
}

// writeTiles gathers as many rows as tiles are high and writes the tiles that they fill; what lies beyond the picture is zero.
func (h Header) writeTiles(w io.Writer, row func(y int, dst []byte) error) error {
	buf, band := make([]byte, h.RowBytes()), make([]byte, h.across()*h.tileBytes())
	for y := 0; y < h.down()*h.Tile; y++ {
		if y%h.Tile == 0 {
			clear(band)
		}
		if y < h.Height {
			if err := row(y, buf); err != nil {
				return fmt.Errorf("make row %d: %w", y, err)
			}
			for i, from := 0, buf; len(from) > 0; i++ {
				from = from[copy(band[i*h.tileBytes()+y%h.Tile*h.tileRow():][:h.tileRow()], from):]
			}
		}
		if y%h.Tile == h.Tile-1 {
			if _, err := w.Write(band); err != nil {
				return fmt.Errorf("write the tiles above row %d: %w", y, err)
			}
		}
	}
	return nil
}

// around lays out what stands before the pixels, and behind them from byte end on.
func (h Header) around() (head []byte, end int64, tail []byte) {
	start := int64(len(fileHead(h.big(), 0)))
	end = start + h.Bytes()
	end += end % 2
	tail, place := directory(end, h.big(), h.entries(start))
	return fileHead(h.big(), place), end, tail
}

// WithXMP puts an XMP packet into a file that Encode wrote, in place of one that
// it may hold. The pixels stay where they are; the memory of file is used again,
// so the caller must not use it after.
func WithXMP(file, xmp []byte) ([]byte, error) {
	h, err := written(file)
	if err != nil {
		return nil, err
	}
	h.XMP = xmp
	head, end, tail := h.around()
	if !h.big() && end+int64(len(tail)) >= 1<<32 {
		return nil, fmt.Errorf("the text of %d bytes takes the file over 4 GiB", len(xmp))
	}
	copy(file, head)
	return append(file[:end], tail...), nil
}

// written is the header of a file that Encode wrote. Any other is told by what Encode would write around its pixels.
func written(file []byte) (Header, error) {
	d, err := newReading(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return Header{}, err
	}
	tags, err := d.fields(tagWidth, tagHeight, tagBits, tagPhotometric, tagDescription, tagSamples, tagXResolution, tagUnit, tagSoftware,
		tagTileWidth, tagFormat, tagXMP, tagProfile)
	if err != nil {
		return Header{}, err
	}
	one := func(tag uint16) int { return tags[tag].number(0) }
	text := func(tag uint16) string { return strings.TrimSuffix(string(tags[tag].b), "\x00") }
	h := Header{Width: one(tagWidth), Height: one(tagHeight), Channels: 1, Big: d.wide == 8, Tile: one(tagTileWidth),
		Description: text(tagDescription), Software: text(tagSoftware), Profile: tags[tagProfile].b, XMP: tags[tagXMP].b}
	if one(tagPhotometric) == 2 {
		h.Channels = 3
	}
	h.Alpha = one(tagSamples) > h.Channels
	if v := tags[tagXResolution].b; one(tagUnit) == 3 && len(v) == 8 {
		h.PxPerCM = float64(d.order.Uint32(v)) / 1000
	}
	if h.Sample, err = sampleOf(one(tagBits), one(tagFormat)); err != nil {
		return Header{}, err
	}
	if err := h.check(); err != nil {
		return Header{}, err
	}
	if h.Bytes() < int64(len(file)) { // the list of where the pixels lie grows with how many the file claims to have
		if head, end, tail := h.around(); bytes.HasPrefix(file, head) && end <= int64(len(file)) && bytes.Equal(file[end:], tail) {
			return h, nil
		}
	}
	return Header{}, errors.New("the file is not laid out as this program lays it out")
}
