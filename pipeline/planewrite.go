package pipeline

import (
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"math"
)

// PlanePort names an output that is a picture, and its number of channels.
type PlanePort struct {
	Name     string
	Channels int
}

// tileBatch is how many tiles are computed at a time. While the next are, they are stored, in order.
const tileBatch = 16

// planeTiles are the tiles of one picture on their way to the store.
type planeTiles struct {
	planeHead
	bw   BlobWriter
	bufs [2][tileBatch][]byte // of two batches, the one computed and the one stored, by turns
}

// writePlanes computes tiles of pictures of one size in batches, several at once, and stores them in order.
func writePlanes(ctx context.Context, t *Task, w, h int, ports []PlanePort, fill func(image.Rectangle, [][][]float32) error) ([]ID, error) {
	out := make([]*planeTiles, 0, len(ports))
	defer func() {
		for _, p := range out {
			p.bw.Abort() // nothing, once it is whole
		}
	}()
	for _, port := range ports {
		p := &planeTiles{planeHead: planeHead{w, h, port.Channels}}
		if w <= 0 || h <= 0 || port.Channels <= 0 {
			return nil, fmt.Errorf("plane %q of %d×%d×%d has no pixels", port.Name, w, h, port.Channels)
		}
		var err error
		if p.bw, err = t.store.Create(p.bytes(), true); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	tiles := planeHead{w: w, h: h}.tiles()
	before := 0 // tiles that wait to be stored
	for at, turn := 0, 0; at < tiles || before > 0; at, turn = at+tileBatch, 1-turn {
		n := max(0, min(tileBatch, tiles-at))
		if err := t.each(ctx, len(out)+n, func(k int) error {
			if k < len(out) {
				return out[k].store(out[k].bufs[1-turn][:before])
			}
			return fillTile(out, turn, at, k-len(out), fill)
		}); err != nil {
			return nil, err
		}
		before = n
	}
	ids := make([]ID, len(out))
	for i, p := range out {
		var err error
		if ids[i], err = p.bw.Commit(); err != nil {
			return nil, err
		}
	}
	return ids, nil
}

// fillTile computes tile k of a batch of all pictures, which begins with tile at, and encodes it.
func fillTile(out []*planeTiles, turn, at, k int, fill func(image.Rectangle, [][][]float32) error) error {
	r := out[0].rect(at + k)
	dst := make([][][]float32, len(out))
	for i, p := range out {
		for range p.c {
			dst[i] = append(dst[i], make([]float32, r.Dx()*r.Dy()))
		}
	}
	if err := fill(r, dst); err != nil {
		return err
	}
	for i, p := range out {
		b := make([]byte, 0, 4*p.c*r.Dx()*r.Dy())
		for _, d := range dst[i] {
			for _, v := range d {
				if v != v {
					v = float32(math.NaN()) // one bit pattern for "no data"
				}
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
			}
		}
		p.bufs[turn][k] = b
	}
	return nil
}

// store stores tiles in order.
func (p *planeTiles) store(tiles [][]byte) error {
	for _, b := range tiles {
		if err := p.bw.Chunk(b); err != nil {
			return err
		}
	}
	return nil
}
