package fits

import (
	"fmt"
	"io"

	"plenilune/steps/format/raw"
)

// OpenClip reads all of a file of raw frames but their samples: every picture of the first one's
// size and kind, in the order of the file, from its beginning and from extensions, and of a cube
// every plane, is a frame; a cube of three planes is one of colours if CTYPE3 says so. Every size
// is checked against the file's length before memory is taken.
func OpenClip(r io.ReaderAt, size int64) (*raw.Clip, error) {
	g := gatherer{r: r, size: size}
	for at := int64(0); at < size && !g.ended; {
		u, err := readCards(r, at)
		if err != nil && at == 0 {
			return nil, err
		}
		if err != nil {
			g.lost(at)
			break
		}
		if at, err = g.unit(u); err != nil {
			return nil, err
		}
	}
	return g.done()
}

// gatherer collects the frames of a file.
type gatherer struct {
	r      io.ReaderAt
	size   int64
	clip   raw.Clip
	seq    *raw.Sequence // nil before the first picture
	units  int           // with frames
	timed  bool          // every frame's time is known
	others int           // pictures that are not like the first
	packed bool          // a table holds a compressed picture
	threes bool          // a cube of three planes does not say what they are
	ended  bool          // the file is cut here
}

// lost looks at what is no whole header: if it is the beginning of one, a frame or more are lost.
func (g *gatherer) lost(at int64) {
	const mark = "XTENSION"
	b := make([]byte, len(mark))
	if n, _ := g.r.ReadAt(b, at); n > 0 && string(b[:n]) == mark[:n] {
		g.clip.CutShort = true
		g.clip.Declared++
	}
}

// unit takes a unit's frames and returns where the next begins.
func (g *gatherer) unit(u unit) (next int64, err error) {
	axes, err := u.axes()
	if err != nil {
		if g.seq == nil {
			return 0, err
		}
		g.ended = true
		return g.size, nil
	}
	bytes := u.dataBytes(axes)
	next = g.size
	if bytes <= g.size-u.data {
		next = u.data + (bytes+block-1)/block*block
	}
	if u.values["ZIMAGE"] == "T" {
		g.packed = true
	}
	if !u.isImage(axes) {
		return next, nil
	}
	l, frames, err := u.layout(axes)
	switch {
	case err != nil && g.seq == nil:
		return 0, err
	case g.seq == nil:
		g.clip.Layout, g.seq, g.timed = l, raw.NewSequence(l.Span()), true
		g.clip.Depth = min(16, 8*l.SampleBytes)
		g.clip.Start = u.begin()
		g.threes = len(axes) == 3 && axes[2] == 3 && l.Planes == 1
	case err != nil || !Alike(l, g.clip.Layout):
		g.others++
		return next, nil
	}
	return next, g.take(u, l, frames, bytes)
}

// take takes the frames of a unit that are there.
func (g *gatherer) take(u unit, l raw.Layout, frames, bytes int64) error {
	g.clip.Declared += frames
	if g.clip.Declared > raw.MaxFrames {
		return fmt.Errorf("byte %d: more than the %d frames that are read; split the file", u.data, raw.MaxFrames)
	}
	have := min(frames, l.Frames(g.size))
	if have > 0 && !g.seq.Add(u.data, have, l.Stride) {
		return fmt.Errorf("byte %d: frames overlap", u.data)
	}
	g.ended = bytes > g.size-u.data
	g.clip.CutShort = have < frames
	if have > 0 {
		g.units++
	}
	if !g.timed {
		return nil
	}
	times := u.times(frames, have)
	g.timed = times != nil
	if g.timed {
		g.clip.Times = append(g.clip.Times, times...)
	} else {
		g.clip.Times = nil
	}
	return nil
}

// Alike tells whether frames are of one size and kind, wherever they lie.
func Alike(a, b raw.Layout) bool {
	return a.Width == b.Width && a.Height == b.Height && a.Planes == b.Planes && a.SampleBytes == b.SampleBytes && a.Kind == b.Kind &&
		a.Pattern == b.Pattern && a.BottomUp == b.BottomUp && a.Scale == b.Scale && a.Zero == b.Zero
}

func (g *gatherer) done() (*raw.Clip, error) {
	if g.seq == nil {
		if g.packed {
			return nil, fmt.Errorf("byte %d: the pictures are compressed, as tables; uncompress the file first, with funpack", block)
		}
		return nil, fmt.Errorf("byte %d: the file holds no picture; leave it out", min(g.size, block))
	}
	c := &g.clip
	c.Frames = int(g.seq.Frames())
	g.seq.Place(&c.Layout, c.Layout.Offset)
	c.Format = "FITS, a picture"
	switch {
	case g.units > 1:
		c.Format = fmt.Sprintf("FITS, %d pictures or cubes", g.units)
	case c.Frames > 1:
		c.Format = "FITS, a cube"
	}
	if c.Start != 0 {
		c.TimeSource = "header"
	}
	if g.others > 0 {
		c.Remarks = append(c.Remarks, raw.Remark{Code: "clip-other-pictures",
			Text: fmt.Sprintf("holds %d pictures of another size or kind than the first; they are left out", g.others)})
	}
	if g.threes {
		c.Remarks = append(c.Remarks, raw.Remark{Code: "clip-three-planes",
			Text: "holds three planes and does not say that they are colours (CTYPE3 = 'RGB'); they are taken for three frames"})
	}
	return c, c.Layout.Check()
}
