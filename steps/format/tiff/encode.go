package tiff

import (
	"errors"
	"fmt"
	"io"
)

// Encode writes a picture. Row fills dst, of RowBytes, with row y; it is called
// for y = 0, 1, … once each. Equal pictures give equal bytes.
func Encode(w io.Writer, h Header, row func(y int, dst []byte) error) error {
	if err := h.check(); err != nil {
		return err
	}
	start := int64(len(fileHead(h.big(), 0)))
	end := start + h.Bytes()
	end += end % 2
	tail, place := directory(end, h.big(), h.entries(start))
	if _, err := w.Write(fileHead(h.big(), place)); err != nil {
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

// WithXMP puts an XMP packet into a file that Encode wrote, in place of one that
// it may hold. The pixels stay where they are; the memory of file is used again,
// so the caller must not use it after.
func WithXMP(file, xmp []byte) ([]byte, error) {
	f, err := Open(bytesAt(file), int64(len(file)))
	if err != nil {
		return nil, err
	}
	end, start := f.pixelEnd+f.pixelEnd%2, int64(len(fileHead(f.isBig, 0)))
	if f.start != start || end > int64(len(file)) {
		return nil, errors.New("the pixels do not stand where this program puts them")
	}
	f.Header.XMP = xmp
	entries := f.Header.entries(start)
	tail, place := directory(end, f.isBig, entries)
	if !f.isBig && end+int64(len(tail)) >= 1<<32 {
		return nil, fmt.Errorf("the text of %d bytes takes the file over 4 GiB", len(xmp))
	}
	copy(file, fileHead(f.isBig, place))
	return append(file[:end], tail...), nil
}

// bytesAt reads from memory.
type bytesAt []byte

func (b bytesAt) ReadAt(p []byte, at int64) (int, error) {
	if at < 0 || at >= int64(len(b)) {
		return 0, io.EOF
	}
	n := copy(p, b[at:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}
