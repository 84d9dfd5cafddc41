package avi

import "encoding/binary"

const (
	entryBytes    = 16 // of idx1 (AVIOLDINDEX), and of an index of indexes
	standardBytes = 8  // of an index of chunks
	indexHead     = 24 // before the entries of the indexes of OpenDML

	ofIndexes = 0x00
	ofChunks  = 0x01

	notKey = 1 << 31 // of a length in an index of chunks

	checks = 32 // so many entries, evenly spread, are held against the file
)

// entries reads n entries of each bytes in pieces, until see is false.
func (f file) entries(at, n, each int64, see func(e []byte) bool) bool {
	const piece = 1 << 12
	buf := make([]byte, min(n, piece)*each)
	for n > 0 {
		b := buf[:min(n, piece)*each]
		if k, err := f.r.ReadAt(b, at); k < len(b) && (err != nil || k == 0) {
			return false
		}
		at, n = at+int64(len(b)), n-int64(len(b))/each
		for ; len(b) > 0; b = b[each:] {
			if !see(b[:each]) {
				return false
			}
		}
	}
	return true
}

// byIndexes reads the indexes of OpenDML, named in a stream's header; ok is false if they
// cannot be trusted.
func (g *gatherer) byIndexes(h heads) (ok bool) {
	head, err := g.f.bytes(h.indexes.at, indexHead)
	if err != nil || head[2] != 0 {
		return false
	}
	if head[3] == ofChunks {
		return g.byChunks(h, h.indexes)
	}
	n := int64(binary.LittleEndian.Uint32(head[4:]))
	if head[3] != ofIndexes || n > (h.indexes.size-indexHead)/entryBytes || h.indexes.end() > g.f.size {
		return false
	}
	behind := int64(0) // each index once: their sum is less than the file
	return g.f.entries(h.indexes.at+indexHead, n, entryBytes, func(e []byte) bool {
		at := int64(binary.LittleEndian.Uint64(e))
		if at < behind {
			return false
		}
		c, ok := g.f.chunk(at)
		behind = c.end()
		return ok && g.byChunks(h, c)
	})
}

// byChunks reads one index of chunks.
func (g *gatherer) byChunks(h heads, c chunk) bool {
	if c.end() > g.f.size || c.size < indexHead {
		return false
	}
	head, err := g.f.bytes(c.at, indexHead)
	if err != nil || head[2] != 0 || head[3] != ofChunks || !h.isFrame(string(head[8:12])) {
		return false
	}
	n := int64(binary.LittleEndian.Uint32(head[4:]))
	base := int64(binary.LittleEndian.Uint64(head[12:]))
	if n > (c.size-indexHead)/standardBytes || base < 0 || base > g.f.size {
		return false
	}
	k := int64(0)
	return g.f.entries(c.at+indexHead, n, standardBytes, func(e []byte) bool {
		at := base + int64(binary.LittleEndian.Uint32(e))
		size := int64(binary.LittleEndian.Uint32(e[4:]) &^ notKey)
		check := k*checks/n != (k-1)*checks/n || k == 0 || k == n-1
		k++
		return (!check || g.holds(h, at, size)) && g.add(at, size)
	})
}

// holds tells whether a frame's chunk is where an index says.
func (g *gatherer) holds(h heads, at, size int64) bool {
	if size == 0 {
		return true
	}
	c, ok := g.f.chunk(at - headBytes)
	return ok && h.isFrame(c.name) && c.size == size
}

// byOldIndex reads idx1: places count from the word movi, or, from some writers, from the file's
// beginning; the first frame tells.
func (g *gatherer) byOldIndex(h heads, c chunk, movi int64) bool {
	n := c.size / entryBytes
	if c.at+n*entryBytes > g.f.size {
		return false
	}
	base, known, k := int64(0), false, int64(0)
	return g.f.entries(c.at, n, entryBytes, func(e []byte) bool {
		at, size := int64(binary.LittleEndian.Uint32(e[8:])), int64(binary.LittleEndian.Uint32(e[12:]))
		check := k*checks/n != (k-1)*checks/n || k == n-1
		k++
		if !h.isFrame(string(e[:4])) {
			return true
		}
		if !known && size > 0 {
			base, known = movi, true
			if !g.holds(h, base+at+headBytes, size) {
				base = 0
			}
			check = true
		}
		at += base + headBytes
		return (!check || g.holds(h, at, size)) && g.add(at, size)
	})
}
