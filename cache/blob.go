package cache

import (
	"crypto/sha256"
	"errors"
	"fmt"
)

// Layout of a blob file: magic, chunks, directory, trailer. FORMAT.md tells it
// to the byte.
const (
	blobMagic   = "plenilune blob 1"
	blobEnd     = "blob end"
	blobList    = 'l' // the ID is that of head and list of chunks
	blobWhole   = 'w' // the ID is the SHA-256 of the chunks joined
	filterNone  = 'p'
	filterWords = 'w'
	dirHead     = 16
	chunkEntry  = 48
	blobTrailer = 16 + sha256.Size
	maxDir      = 1 << 30
)

// directory is what a blob file says of its chunks.
type directory struct {
	kind   byte
	words  bool
	head   []byte
	chunks []chunk
}

type chunk struct {
	offset int64
	stored int
	raw    int
	sum    ID // of the raw bytes
}

// id derives the blob's name from the directory, for kind blobList.
func (d directory) id() ID {
	h := sha256.New()
	fmt.Fprintf(h, "%s\nhead %d %s\n", blobMagic, len(d.head), Sum(d.head))
	for _, k := range d.chunks {
		fmt.Fprintf(h, "chunk %d %s\n", k.raw, k.sum)
	}
	return ID(h.Sum(nil))
}

// encode returns directory and trailer for a directory that begins at offset at.
func (d directory) encode(at int64) []byte {
	filter := byte(filterNone)
	if d.words {
		filter = filterWords
	}
	b := []byte{d.kind, filter, 0, 0}
	b = le.AppendUint32(b, uint32(len(d.head)))
	b = le.AppendUint32(b, uint32(len(d.chunks)))
	b = le.AppendUint32(b, 0)
	b = append(b, d.head...)
	for _, k := range d.chunks {
		b = le.AppendUint64(b, uint64(k.offset))
		b = le.AppendUint32(b, uint32(k.stored))
		b = le.AppendUint32(b, uint32(k.raw))
		b = append(b, k.sum[:]...)
	}
	b = le.AppendUint64(b, uint64(at))
	b = append(b, blobEnd...)
	sum := sha256.Sum256(b)
	return append(b, sum[:]...)
}

var errDirectory = errors.New("its directory is damaged")

// parseDirectory reads directory and trailer, b, that begin at offset at.
func parseDirectory(b []byte, at int64) (d directory, err error) {
	end := len(b) - sha256.Size
	if end < dirHead || Sum(b[:end]) != ID(b[end:]) {
		return d, errDirectory
	}
	f := fields{b: b[:end-16]}
	front := f.take(4)
	heads, n := f.u32(), f.u32()
	f.u32()
	d.kind, d.words, d.head = front[0], front[1] == filterWords, f.take(heads)
	if f.bad || len(f.b) != n*chunkEntry {
		return d, errDirectory
	}
	d.chunks = make([]chunk, n)
	for i := range d.chunks {
		k := chunk{offset: int64(f.u64()), stored: f.u32(), raw: f.u32(), sum: f.id()}
		if k.offset < 0 || k.offset+int64(k.stored) > at || k.raw > maxChunk {
			return d, errDirectory
		}
		d.chunks[i] = k
	}
	return d, f.done()
}
