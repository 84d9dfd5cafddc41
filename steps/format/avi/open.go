package avi

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"plenilune/steps/format/raw"
)

// parts is where the large pieces of a file lie.
type parts struct {
	hdrl, movi, idx1 chunk
	more             bool // a further RIFF follows, as OpenDML has it
}

// errEnough ends a walk along chunks.
var errEnough = errors.New("enough")

// find walks along the top of a file.
func (f file) find() (p parts) {
	top, _ := f.chunk(0)
	// A length of 0, of a recording that was never finished, or too long, means the rest.
	end := min(top.end(), f.size)
	if top.size == 0 {
		end = f.size
	}
	_ = f.each(listBytes, end, func(c chunk) error {
		switch {
		case c.name == "LIST" && f.kind(c) == "hdrl" && p.hdrl.name == "":
			p.hdrl = c
		case c.name == "LIST" && f.kind(c) == "movi" && p.movi.name == "":
			p.movi = c
			if c.size <= 4 { // never finished, too
				return errEnough
			}
		case c.name == "idx1" && p.idx1.name == "":
			p.idx1 = c
		}
		return nil
	})
	if next, ok := f.chunk(top.end()); ok {
		p.more = next.name == "RIFF"
	}
	return p
}

// Open reads all of a file but its frames. Every size is checked against the file's length
// before memory is taken. AVI states no time of recording.
//
// Frames are where the indexes say, if those bear a check, each frame follows the one before,
// and together they are as many as stated; else the file is searched for them from end to end.
func Open(r io.ReaderAt, size int64) (*raw.Clip, error) {
	f := file{r, size}
	p := f.find()
	if p.hdrl.name == "" {
		return nil, fmt.Errorf("byte %d: the file ends before its headers, or has none; copy it again or leave it out", min(size, listBytes))
	}
	h, err := f.readHeads(p.hdrl)
	if err != nil {
		return nil, err
	}
	form, err := f.readFormat(h.format)
	if err != nil {
		return nil, err
	}
	from := p.movi.at - headBytes
	if p.movi.name == "" {
		from = p.hdrl.end()
	}
	g, index := f.gather(h, p, form, from)
	if g.frames() > raw.MaxFrames {
		return nil, fmt.Errorf("byte %d: %d frames, more than the %d that are read; split the file", from, g.frames(), raw.MaxFrames)
	}
	return g.clip(h, index, p.more, from)
}

// gather finds the frames, and tells by what.
func (f file) gather(h heads, p parts, form format, from int64) (*gatherer, string) {
	begin := func() *gatherer { fresh := form; return &gatherer{f: f, fmt: &fresh} }
	enough := func(g *gatherer) bool { return g.all() > 0 && g.all() >= h.declared }
	if h.indexes.name != "" {
		if g := begin(); g.byIndexes(h) && enough(g) {
			return g, "its indexes"
		}
	}
	if p.idx1.name != "" && !p.more {
		if g := begin(); g.byOldIndex(h, p.idx1, p.movi.at) && enough(g) {
			return g, "its index"
		}
	}
	g := begin()
	g.scan(h, from)
	return g, "a search"
}

func (g *gatherer) clip(h heads, index string, more bool, from int64) (*raw.Clip, error) {
	name := "AVI"
	if more || h.indexes.name != "" {
		name = "AVI (OpenDML)"
	}
	c := &raw.Clip{Format: name + ", " + strings.TrimSpace(g.fmt.code) + ", frames found by " + index, Layout: g.fmt.layout, Depth: g.fmt.depth,
		Frames: int(g.frames()), Declared: h.declared}
	if g.seq != nil {
		g.seq.Place(&c.Layout, from)
	} else {
		c.Layout.Offset = from
	}
	c.Unclosed = h.declared == 0 && c.Frames > 0
	c.CutShort = g.all() < h.declared
	if g.dropped > 0 {
		c.Remarks = append(c.Remarks, raw.Remark{Code: "clip-dropped-frames",
			Text: fmt.Sprintf("has %d places without a frame, which its recorder lost; they are left out", g.dropped)})
	}
	if g.small > 0 {
		c.Remarks = append(c.Remarks, raw.Remark{Code: "clip-damaged-frames",
			Text: fmt.Sprintf("has %d frames with fewer bytes than a frame needs; they are left out", g.small)})
	}
	return c, c.Layout.Check()
}
