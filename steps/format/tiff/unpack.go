package tiff

import (
	"bufio"
	"compress/zlib"
	"fmt"
	"io"
)

// unpack decodes piece i into dst, of its length.
func (p *Picture) unpack(i int, dst []byte) error {
	packed := io.NewSectionReader(p.r, p.offset(i), p.length(i))
	if p.compression == plain {
		if n, err := io.ReadFull(packed, dst); err != nil {
			return fmt.Errorf("%d bytes of %d: %w", n, len(dst), err)
		}
		return nil
	}
	if p.tools == nil {
		p.tools = &unpackers{in: bufio.NewReader(nil)}
	}
	p.tools.in.Reset(packed)
	switch err := p.tools.unpack(p.compression, dst); err {
	case nil:
		return p.sum(dst)
	case io.EOF:
		return io.ErrUnexpectedEOF
	default:
		return err
	}
}

// unpackers are kept from piece to piece, of which there may be many.
type unpackers struct {
	in   *bufio.Reader
	zlib io.ReadCloser
	lzw  *lzwTable
}

func (u *unpackers) unpack(compression int, dst []byte) error {
	switch compression {
	case lzwPacked:
		if u.lzw == nil {
			u.lzw = &lzwTable{}
		}
		return u.lzw.unpack(dst, u.in)
	case deflate, oldDeflate:
		var err error
		if u.zlib == nil {
			u.zlib, err = zlib.NewReader(u.in)
		} else {
			err = u.zlib.(zlib.Resetter).Reset(u.in, nil)
		}
		if err == nil {
			_, err = io.ReadFull(u.zlib, dst)
		}
		return err
	case packBits:
		_, err := io.ReadFull(&packed8{r: u.in}, dst)
		return err
	}
	return fmt.Errorf("compression %d is not read", compression)
}

// sum undoes the predictor, row by row.
func (p *Picture) sum(b []byte) error {
	s, n := p.inPiece(), p.Sample.Bytes()
	row := p.tile[0] * s * n
	switch {
	case p.predictor == noPredictor:
		return nil
	case p.predictor == differences && p.Sample != Float32:
		for ; len(b) > 0; b = b[row:] {
			p.sumRow(b[:row], s)
		}
		return nil
	case p.predictor == floatingDiff && p.Sample == Float32:
		whole := make([]byte, row)
		for ; len(b) > 0; b = b[row:] {
			p.sumFloats(b[:row], whole, s)
		}
		return nil
	}
	return fmt.Errorf("predictor %d is not read of samples of %d bytes", p.predictor, n)
}

// sumRow undoes differences between samples (TIFF 6.0 section 14).
func (p *Picture) sumRow(b []byte, s int) {
	if p.Sample == Uint8 {
		for i := s; i < len(b); i++ {
			b[i] += b[i-s]
		}
		return
	}
	for i := 2 * s; i+1 < len(b); i += 2 {
		p.order.PutUint16(b[i:], p.order.Uint16(b[i:])+p.order.Uint16(b[i-2*s:]))
	}
}

// sumFloats undoes differences between bytes, which stand by their weight, the greatest first
// (Adobe Photoshop TIFF Technical Note 3, 2005).
func (p *Picture) sumFloats(b, whole []byte, s int) {
	for i := s; i < len(b); i++ {
		b[i] += b[i-s]
	}
	copy(whole, b)
	n := len(b) / 4
	for i := range n {
		v := uint32(whole[i])<<24 | uint32(whole[n+i])<<16 | uint32(whole[2*n+i])<<8 | uint32(whole[3*n+i])
		p.order.PutUint32(b[4*i:], v)
	}
}

// packed8 undoes PackBits (TIFF 6.0 section 9).
type packed8 struct {
	r    *bufio.Reader
	left int
	same bool // the next byte stands for all that are left
	b    byte
}

func (k *packed8) Read(dst []byte) (n int, err error) {
	for n < len(dst) {
		if k.left == 0 {
			if err := k.next(); err != nil {
				return n, err
			}
			continue
		}
		if !k.same {
			if k.b, err = k.r.ReadByte(); err != nil {
				return n, err
			}
		}
		dst[n] = k.b
		n, k.left = n+1, k.left-1
	}
	return n, nil
}

// next reads how the next bytes are packed.
func (k *packed8) next() error {
	h, err := k.r.ReadByte()
	if err != nil {
		return err
	}
	switch {
	case h < 128:
		k.left, k.same = int(h)+1, false
	case h > 128:
		k.left, k.same = 257-int(h), true
		k.b, err = k.r.ReadByte()
	}
	return err
}
