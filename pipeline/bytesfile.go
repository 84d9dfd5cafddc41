package pipeline

import (
	"errors"
	"fmt"
	"io"
)

// keptChunks is how many chunks of a long byte value a reader of any place in it remembers.
const keptChunks = 8

// bytesFile reads what PutBytes stored at any place; safe for concurrent use.
type bytesFile struct {
	blob BlobReader
	kept *keptTiles
	size int64
}

// openBytes opens what PutBytes stored as a file.
func openBytes(s Store, id ID) (*bytesFile, error) {
	b, err := s.Open(id)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", id.Short(), err)
	}
	f := &bytesFile{blob: b, kept: &keptTiles{most: keptChunks, byIndex: map[int]*keptTile{}}}
	if string(b.Head()) != bytesHead {
		b.Close()
		return nil, fmt.Errorf("open %s: it is not a file", id.Short())
	}
	if n := b.Len(); n > 0 {
		last, err := f.kept.get(n-1, b.Chunk)
		if err != nil {
			b.Close()
			return nil, fmt.Errorf("read chunk %d of %s: %w", n-1, id.Short(), err)
		}
		f.size = int64(n-1)*streamChunk + int64(len(last))
	}
	return f, nil
}

func (f *bytesFile) Size() int64 { return f.size }

func (f *bytesFile) Close() error { return f.blob.Close() }

// ReadAt implements io.ReaderAt.
func (f *bytesFile) ReadAt(p []byte, off int64) (n int, err error) {
	if off < 0 {
		return 0, errors.New("read before the beginning")
	}
	for n < len(p) {
		if off >= f.size {
			return n, io.EOF
		}
		i := int(off / streamChunk)
		c, err := f.kept.get(i, f.blob.Chunk)
		if err != nil {
			return n, fmt.Errorf("read chunk %d: %w", i, err)
		}
		at := int(off % streamChunk)
		if at >= len(c) {
			return n, io.ErrUnexpectedEOF
		}
		k := copy(p[n:], c[at:])
		n, off = n+k, off+int64(k)
	}
	return n, nil
}
