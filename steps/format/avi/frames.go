package avi

import "plenilune/steps/format/raw"

// gatherer collects where frames lie.
type gatherer struct {
	f       file
	fmt     *format
	seq     *raw.Sequence // nil until the first frame tells how rows are padded
	dropped int64         // chunks without bytes: frames that the recorder lost
	small   int64         // chunks with fewer bytes than a frame has
}

// add takes a frame's chunk by where its data begins. It is false if frames overlap, or a
// chunk ends behind the file.
func (g *gatherer) add(at, size int64) bool {
	if size > g.f.size-at {
		return false
	}
	if size == 0 {
		g.dropped++
		return true
	}
	if g.seq == nil {
		g.fmt.layout.RowStride = rowStride(g.fmt.layout, size)
		g.fmt.layout.Stride = g.fmt.layout.Span()
		g.seq = raw.NewSequence(g.fmt.layout.Span())
	}
	if size < g.fmt.layout.Span() {
		g.small++
		return true
	}
	return g.seq.Add(at, 1, 0)
}

// rowStride tells from a frame's bytes whether its rows are filled up to a multiple of four, as
// those of a DIB are by its definition; of other layouts some writers fill them, some do not.
func rowStride(l raw.Layout, size int64) int64 {
	each := int64(l.Width) * int64(l.Planes) * int64(l.SampleBytes)
	filled := (each + 3) &^ 3
	if filled == each || size < filled*int64(l.Height) {
		return 0
	}
	return filled
}

func (g *gatherer) frames() int64 {
	if g.seq == nil {
		return 0
	}
	return g.seq.Frames()
}

// all is how many places for frames were seen.
func (g *gatherer) all() int64 { return g.frames() + g.dropped + g.small }

// isFrame tells whether a chunk holds a frame: of the stream, compressed or not, which some
// writers mix up.
func (h heads) isFrame(name string) bool { return name == h.name+"b" || name == h.name+"c" }

// scan walks through all chunks from a byte on. Lists are entered, whatever length they state:
// that of a file of more than 4 GiB does not fit its field. It stops where the file ends, or
// where no chunk begins.
func (g *gatherer) scan(h heads, at int64) {
	for {
		c, ok := g.f.chunk(at)
		switch {
		case !ok:
			return
		case c.name == "LIST" || c.name == "RIFF":
			at += listBytes
		case h.isFrame(c.name) && !g.add(c.at, c.size):
			return
		default:
			at = c.end()
		}
	}
}
