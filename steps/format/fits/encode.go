package fits

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Picture is what Encode writes.
type Picture struct {
	W, H     int
	Channels int    // 1, or 3: red, green, blue, a plane each
	Whole    bool   // unsigned numbers of 16 bits, 65535 is white; else float32, in which NaN is no data
	Cards    []Card // beside those that say how the picture is laid out
	// Row fills dst with row y of channel c, y from the top. Each is asked for twice, the channels one after the other, from the bottom.
	Row func(c, y int, dst []float32) error
}

// Encode writes a file of one picture. The first row of the file is the lowest (5.1). Equal pictures give equal bytes.
func Encode(w io.Writer, p Picture) error {
	return p.encode(w, []Card{{"SIMPLE", true, "FITS Standard 4.0"}}, []Card{{"EXTEND", true, ""}})
}

// EncodeImage writes a picture as a unit of its own (7.1), to follow others in a file.
func EncodeImage(w io.Writer, name string, p Picture) error {
	return p.encode(w, []Card{{"XTENSION", "IMAGE", ""}}, []Card{{"PCOUNT", 0, ""}, {"GCOUNT", 1, ""}, {"EXTNAME", name, ""}})
}

// encode writes a picture whose header begins with some cards, and has others behind those of its axes.
func (p Picture) encode(w io.Writer, first, behind []Card) error {
	if p.W < 1 || p.H < 1 || p.Channels < 1 {
		return fmt.Errorf("a picture of %d×%d px and %d channels", p.W, p.H, p.Channels)
	}
	var s sum
	if err := p.data(func(b []byte) error { s.add(b); return nil }); err != nil {
		return err
	}
	if _, err := w.Write(sealed(p.cards(first, behind), s.value())); err != nil {
		return fmt.Errorf("write header: %w", err)
	}
	return p.data(func(b []byte) error {
		if _, err := w.Write(b); err != nil {
			return fmt.Errorf("write data: %w", err)
		}
		return nil
	})
}

func (p Picture) cards(first, behind []Card) []Card {
	bits := -32
	if p.Whole {
		bits = 16
	}
	out := append(first, Card{"BITPIX", bits, ""})
	if p.Channels == 1 {
		out = append(out, Card{"NAXIS", 2, ""}, Card{"NAXIS1", p.W, "px"}, Card{"NAXIS2", p.H, "px, from the bottom"})
	} else {
		out = append(out, Card{"NAXIS", 3, ""}, Card{"NAXIS1", p.W, "px"}, Card{"NAXIS2", p.H, "px, from the bottom"},
			Card{"NAXIS3", p.Channels, "red, green, blue"})
	}
	out = append(out, behind...)
	if p.Whole {
		out = append(out, Card{"BSCALE", 1.0, ""}, Card{"BZERO", 32768.0, "unsigned numbers of 16 bits"})
	}
	return append(out, p.Cards...)
}

// data gives the data bytes in pieces of four bytes, padded to whole blocks.
func (p Picture) data(put func([]byte) error) error {
	row := make([]float32, p.W)
	each := 4
	if p.Whole {
		each = 2
	}
	var left []byte // of a piece that does not divide by four
	n := 0
	for c := range p.Channels {
		for y := p.H - 1; y >= 0; y-- {
			if err := p.Row(c, y, row); err != nil {
				return fmt.Errorf("make row %d: %w", y, err)
			}
			b := left
			for _, v := range row {
				b = p.append(b, v)
			}
			n += each * p.W
			whole := len(b) / 4 * 4
			if err := put(b[:whole]); err != nil {
				return err
			}
			left = append([]byte{}, b[whole:]...)
		}
	}
	return put(append(left, make([]byte, (block-n%block)%block)...))
}

func (p Picture) append(b []byte, v float32) []byte {
	if !p.Whole {
		if v != v {
			v = float32(math.NaN())
		}
		return binary.BigEndian.AppendUint32(b, math.Float32bits(v))
	}
	k := 0.0
	if v == v {
		k = math.Floor(float64(max(0, min(1, float64(v)))*65535) + 0.5)
	}
	return binary.BigEndian.AppendUint16(b, uint16(int(k)-32768))
}

// AppendTable adds bytes to a file as a table of one row and one column (7.3).
func AppendTable(file []byte, name, column string, content []byte) []byte {
	data := append(append([]byte{}, content...), make([]byte, (block-len(content)%block)%block)...)
	var s sum
	s.add(data)
	file = append(file, sealed([]Card{
		{"XTENSION", "BINTABLE", ""}, {"BITPIX", 8, ""}, {"NAXIS", 2, ""}, {"NAXIS1", len(content), "bytes of the row"}, {"NAXIS2", 1, "row"},
		{"PCOUNT", 0, ""}, {"GCOUNT", 1, ""}, {"TFIELDS", 1, ""}, {"TTYPE1", column, ""}, {"TFORM1", fmt.Sprintf("%dB", len(content)), ""},
		{"EXTNAME", name, ""},
	}, s.value())...)
	return append(file, data...)
}
