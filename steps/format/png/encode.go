package png

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/adler32"
	"io"
)

// Rows is a picture that is made row by row, so that none is held whole.
type Rows struct {
	W, H     int
	Channels int // 1 or 3
	Bits     int // 8 or 16
	// Row fills dst with row y, Channels samples a pixel. It is called for y = 0, 1, … once each.
	Row func(y int, dst []uint16) error
	// Each calls fn for 0…n−1, several at once if it can; nil calls one after the other. The bytes do not depend on it.
	Each func(n int, fn func(i int) error) error
}

const (
	// Rows are compressed in stripes of about so many bytes, each by itself: several at once, and hardly larger.
	stripeBytes = 512 << 10
	// So many are compressed while the rows of the next are made.
	stripeBatch = 4
)

// rowBytes is the length of a row without its filter's type.
func (p Rows) rowBytes() int { return p.W * p.pixelBytes() }

func (p Rows) pixelBytes() int { return p.Channels * p.Bits / 8 }

// Encode writes a picture with chunks between IHDR and the data. Equal pictures
// give equal bytes.
func Encode(w io.Writer, p Rows, chunks ...Chunk) error {
	if p.W < 1 || p.H < 1 || p.Channels != 1 && p.Channels != 3 || p.Bits != 8 && p.Bits != 16 {
		return fmt.Errorf("a PNG file of %d × %d px with %d channels of %d bits cannot be", p.W, p.H, p.Channels, p.Bits)
	}
	head := binary.BigEndian.AppendUint32(nil, uint32(p.W))
	head = binary.BigEndian.AppendUint32(head, uint32(p.H))
	head = append(head, byte(p.Bits), byte(p.Channels-1), 0, 0, 0) // colour type 0 is grey, 2 is RGB
	out := (Chunk{"IHDR", head}).append([]byte(signature))
	for _, c := range chunks {
		out = c.append(out)
	}
	if _, err := w.Write(out); err != nil {
		return err
	}
	if err := p.writeData(w); err != nil {
		return err
	}
	_, err := w.Write((Chunk{Type: "IEND"}).append(nil))
	return err
}

// stripe is some rows on their way to the file.
type stripe struct {
	raw  [][]byte // the row before it, then its own, without filters
	sum  uint32   // Adler-32 of the filtered rows
	size int      // of them
	data []byte   // deflated
}

// writeData writes the rows as one zlib stream (RFC 1950), an IDAT chunk a stripe.
func (p Rows) writeData(w io.Writer) error {
	each := p.Each
	if each == nil {
		each = func(n int, fn func(i int) error) error {
			for i := range n {
				if err := fn(i); err != nil {
					return err
				}
			}
			return nil
		}
	}
	rows := max(1, stripeBytes/p.rowBytes())
	total := (p.H + rows - 1) / rows
	sum := uint32(1)
	before := make([]byte, p.rowBytes()) // the row above the first counts as zeros
	var ready []*stripe
	for at := 0; at < total || len(ready) > 0; {
		n := min(stripeBatch, total-at)
		var next []*stripe
		first := at - len(ready)
		err := each(len(ready)+1, func(i int) error {
			if i > 0 {
				return ready[i-1].deflate(p, first+i == total)
			}
			var err error
			next, before, err = p.make(at*rows, rows, n, before)
			return err
		})
		if err != nil {
			return err
		}
		for i, s := range ready {
			data := s.data
			if first+i == 0 {
				data = append([]byte{0x78, 0x01}, data...) // deflate in a window of 32 KiB, the fastest
			}
			if sum = joinAdler(sum, s.sum, s.size); first+i == total-1 {
				data = binary.BigEndian.AppendUint32(data, sum)
			}
			if _, err := w.Write((Chunk{"IDAT", data}).append(nil)); err != nil {
				return err
			}
		}
		ready, at = next, at+n
	}
	return nil
}

// make makes the rows of n stripes from row y on; before is the row above.
func (p Rows) make(y, rows, n int, before []byte) (out []*stripe, last []byte, err error) {
	samples := make([]uint16, p.W*p.Channels)
	for range n {
		s := &stripe{raw: [][]byte{before}}
		for end := min(y+rows, p.H); y < end; y++ {
			if err := p.Row(y, samples); err != nil {
				return nil, nil, err
			}
			row := make([]byte, 0, p.rowBytes())
			for _, v := range samples {
				if p.Bits == 16 {
					row = append(row, byte(v>>8))
				}
				row = append(row, byte(v))
			}
			s.raw = append(s.raw, row)
			before = row
		}
		out = append(out, s)
	}
	return out, before, nil
}

// deflate filters and compresses a stripe, to a whole number of bytes; the last ends
// the stream.
func (s *stripe) deflate(p Rows, last bool) error {
	var out bytes.Buffer
	// BestSpeed: on pictures with grain it is 1 to 6 % larger and, in colour, three times as fast.
	z, err := flate.NewWriter(&out, flate.BestSpeed)
	if err != nil {
		return err
	}
	f := newFilters(p.rowBytes(), p.pixelBytes())
	sum := adler32.New()
	for i, row := range s.raw[1:] {
		b := f.best(row, s.raw[i])
		sum.Write(b)
		s.size += len(b)
		if _, err := z.Write(b); err != nil {
			return err
		}
	}
	s.sum = sum.Sum32()
	if last {
		err = z.Close()
	} else {
		err = z.Flush()
	}
	s.data, s.raw = out.Bytes(), nil
	return err
}

// joinAdler is the Adler-32 checksum of two stretches from those of each, the second
// of size bytes (RFC 1950, chapter 9: both sums are linear in the bytes).
func joinAdler(a, b uint32, size int) uint32 {
	const mod = 65521
	n := uint32(size % mod)
	a1, a2, b1, b2 := a&0xffff, a>>16, b&0xffff, b>>16
	low := (a1 + b1 + mod - 1) % mod
	high := (a2 + b2 + uint32(uint64(n)*uint64((a1+mod-1)%mod)%mod)) % mod
	return high<<16 | low
}
