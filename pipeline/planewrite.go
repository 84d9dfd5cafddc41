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

// tileBatch is how many tiles are computed before they are stored, in order.
const tileBatch = 16

// planeTiles are the tiles of one picture on their way to the store.
type planeTiles struct {
	planeHead
	bw   BlobWriter
	bufs [tileBatch][]byte
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
	for at := 0; at < tiles; at += tileBatch {
		n := min(tileBatch, tiles-at)
		if err := t.each(ctx, n, func(k int) error { return fillTile(out, at, k, fill) }); err != nil {
			return nil, err
		}
		if err := t.each(ctx, len(out), func(i int) error { return out[i].store(n) }); err != nil {
			return nil, err
		}
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

// fillTile computes tile k of a batch of all pictures and encodes it.
func fillTile(out []*planeTiles, at, k int, fill func(image.Rectangle, [][][]float32) error) error {
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
		p.bufs[k] = b
	}
	return nil
}

// store stores the first n tiles of a batch.
func (p *planeTiles) store(n int) error {
	for _, b := range p.bufs[:n] {
		if err := p.bw.Chunk(b); err != nil {
			return err
		}
	}
	return nil
}
