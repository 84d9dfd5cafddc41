package pipeline

import (
	"encoding/binary"
	"fmt"
	"image"
	"io"
	"math"
)

// tileSide is the side of a plane's tiles in pixels: 256 KiB a channel, small
// enough to read little more than a rectangle needs.
const tileSide = 256

// streamChunk is how a long byte value is cut.
const streamChunk = 1 << 20

// bytesHead begins a long byte value.
const bytesHead = "bytes 1\n"

type planeHead struct{ w, h, c int }

func (p planeHead) bytes() []byte {
	return fmt.Appendf(nil, "plane 1 %d %d %d %d\n", p.w, p.h, p.c, tileSide)
}

func (p planeHead) across() int { return (p.w + tileSide - 1) / tileSide }
func (p planeHead) tiles() int  { return p.across() * ((p.h + tileSide - 1) / tileSide) }

func (p planeHead) rect(i int) image.Rectangle {
	x, y := i%p.across()*tileSide, i/p.across()*tileSide
	return image.Rect(x, y, min(x+tileSide, p.w), min(y+tileSide, p.h))
}

// PlaneReader reads a stored picture by rectangles; safe for concurrent use.
type PlaneReader struct {
	planeHead
	blob BlobReader
	kept *keptTiles // nil: none
}

func openPlane(s Store, id ID) (*PlaneReader, error) {
	b, err := s.Open(id)
	if err != nil {
		return nil, fmt.Errorf("open plane %s: %w", id.Short(), err)
	}
	p := &PlaneReader{blob: b}
	var side int
	if _, err := fmt.Sscanf(string(b.Head()), "plane 1 %d %d %d %d\n", &p.w, &p.h, &p.c, &side); err != nil || side != tileSide || p.tiles() != b.Len() {
		b.Close()
		return nil, fmt.Errorf("open plane %s: its head %q does not describe a plane", id.Short(), b.Head())
	}
	return p, nil
}

// Size returns width and height in pixels and the number of channels.
func (p *PlaneReader) Size() (w, h, c int) { return p.w, p.h, p.c }

// Close frees the reader.
func (p *PlaneReader) Close() error { return p.blob.Close() }

// ReadRect reads a rectangle of one channel into dst, row-major, r.Dx() by
// r.Dy(). The rectangle must lie inside the picture.
func (p *PlaneReader) ReadRect(c int, r image.Rectangle, dst []float32) error {
	if !r.In(image.Rect(0, 0, p.w, p.h)) || len(dst) < r.Dx()*r.Dy() || c < 0 || c >= p.c {
		return fmt.Errorf("read %v of channel %d: outside a plane of %d×%d×%d", r, c, p.w, p.h, p.c)
	}
	for i := range p.tiles() {
		t := p.rect(i)
		in := t.Intersect(r)
		if in.Empty() {
			continue
		}
		b, err := p.tile(i)
		if err != nil {
			return fmt.Errorf("read tile %d: %w", i, err)
		}
		if len(b) != 4*p.c*t.Dx()*t.Dy() {
			return fmt.Errorf("read tile %d: %d bytes, want %d", i, len(b), 4*p.c*t.Dx()*t.Dy())
		}
		for y := in.Min.Y; y < in.Max.Y; y++ {
			from := 4 * ((c*t.Dy()+y-t.Min.Y)*t.Dx() + in.Min.X - t.Min.X)
			to := (y-r.Min.Y)*r.Dx() + in.Min.X - r.Min.X
			words := b[from:][:4*in.Dx()]
			for x := range dst[to:][:in.Dx()] {
				dst[to+x] = math.Float32frombits(binary.LittleEndian.Uint32(words[4*x:]))
			}
		}
	}
	return nil
}

// ReadAll reads every channel whole and closes the reader.
func (p *PlaneReader) ReadAll() ([][]float32, error) {
	defer p.Close()
	out := make([][]float32, p.c)
	for c := range out {
		out[c] = make([]float32, p.w*p.h)
		if err := p.ReadRect(c, image.Rect(0, 0, p.w, p.h), out[c]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

type chunkWriter struct {
	bw  BlobWriter
	buf []byte
}

func (c *chunkWriter) Write(b []byte) (int, error) {
	n := len(b)
	for len(b) > 0 {
		k := min(len(b), streamChunk-len(c.buf))
		c.buf = append(c.buf, b[:k]...)
		b = b[k:]
		if len(c.buf) == streamChunk {
			if err := c.bw.Chunk(c.buf); err != nil {
				return 0, err
			}
			c.buf = c.buf[:0]
		}
	}
	return n, nil
}

func writeStream(s Store, write func(io.Writer) error) (ID, error) {
	bw, err := s.Create([]byte(bytesHead), false)
	if err != nil {
		return ID{}, err
	}
	w := &chunkWriter{bw: bw}
	if err = write(w); err == nil && len(w.buf) > 0 {
		err = bw.Chunk(w.buf)
	}
	if err != nil {
		bw.Abort()
		return ID{}, err
	}
	return bw.Commit()
}

func readStream(s Store, id ID) ([]byte, error) {
	b, err := s.Open(id)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", id.Short(), err)
	}
	defer b.Close()
	var out []byte
	for i := range b.Len() {
		c, err := b.Chunk(i)
		if err != nil {
			return nil, fmt.Errorf("read chunk %d of %s: %w", i, id.Short(), err)
		}
		if i == 0 {
			out = make([]byte, 0, (b.Len()+1)*len(c)) // growing, here or for a record behind it, would hold a large file twice
		}
		out = append(out, c...)
	}
	return out, nil
}
