package cache

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync"
)

// Reader gives the chunks of a large value in any order. It is safe for
// concurrent use, but for Close.
type Reader struct {
	c    *Cache
	id   ID
	dir  directory
	f    *os.File
	mem  []byte // a value of Put, whole and checked
	once sync.Once
}

// OpenBlob opens what Create stored; what Put stored it gives as one chunk
// without a head. Errors match ErrMissing and ErrDamaged as those of Get do.
func (c *Cache) OpenBlob(id ID) (*Reader, error) {
	r, err := c.openBlob(id)
	if err != nil {
		return nil, fmt.Errorf("blob %s: %w", id.Short(), err)
	}
	return r, nil
}

func (c *Cache) openBlob(id ID) (*Reader, error) {
	r, err := c.openFile(id)
	if err == nil && r.dir.kind == blobList {
		return r, nil
	}
	if err == nil {
		_ = r.Close()
	} else if !errors.Is(err, ErrMissing) {
		return nil, err
	}
	b, err := c.get(id)
	if err != nil {
		return nil, err
	}
	return &Reader{c: c, id: id, mem: b, dir: directory{kind: blobWhole, chunks: []chunk{{raw: len(b)}}}}, nil
}

// openFile opens a blob file and checks its directory against its name.
func (c *Cache) openFile(id ID) (*Reader, error) {
	leave, err := c.enter()
	if err != nil {
		return nil, err
	}
	known := c.index.has(indexKey(kindBlob, id))
	leave()
	if !known {
		return nil, ErrMissing
	}
	f, err := os.Open(c.blobPath(id))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrMissing
	}
	if err != nil {
		return nil, err
	}
	d, err := readDirectory(f)
	if err == nil && d.kind == blobList && d.id() != id {
		err = errors.New("its content is not that of its name")
	}
	if err != nil {
		_ = f.Close()
		c.dropBlob(id, err.Error())
		return nil, ErrDamaged
	}
	c.touch(kindBlob, id)
	return &Reader{c: c, id: id, f: f, dir: d}, nil
}

func readDirectory(f *os.File) (d directory, err error) {
	info, err := f.Stat()
	if err != nil {
		return d, err
	}
	size := info.Size()
	if size < int64(len(blobMagic))+dirHead+blobTrailer {
		return d, errors.New("it is cut short")
	}
	front, tail := make([]byte, len(blobMagic)), make([]byte, blobTrailer)
	if _, err := f.ReadAt(front, 0); err != nil {
		return d, err
	}
	if _, err := f.ReadAt(tail, size-blobTrailer); err != nil {
		return d, err
	}
	if string(front) != blobMagic || string(tail[8:16]) != blobEnd {
		return d, errors.New("its ends are not those of a blob file")
	}
	at := int64(le.Uint64(tail))
	if at < int64(len(blobMagic)) || at > size-blobTrailer-dirHead || size-at > maxDir {
		return d, errDirectory
	}
	b := make([]byte, size-at)
	if _, err := f.ReadAt(b, at); err != nil {
		return d, err
	}
	return parseDirectory(b, at)
}

// Head returns what Create was given.
func (r *Reader) Head() []byte { return r.dir.head }

// Len returns the number of chunks.
func (r *Reader) Len() int { return len(r.dir.chunks) }

// Chunk returns chunk i, which is the caller's own. The error matches ErrDamaged
// if its bytes changed; then the whole blob is dropped.
func (r *Reader) Chunk(i int) ([]byte, error) {
	if i < 0 || i >= len(r.dir.chunks) {
		return nil, fmt.Errorf("blob %s has %d chunks, none is number %d", r.id.Short(), len(r.dir.chunks), i)
	}
	if r.f == nil {
		return append([]byte(nil), r.mem...), nil
	}
	b, err := r.read(r.dir.chunks[i])
	if errors.Is(err, fs.ErrClosed) {
		return nil, fmt.Errorf("blob %s, chunk %d: %w", r.id.Short(), i, err)
	}
	if err != nil {
		r.once.Do(func() { r.c.dropBlob(r.id, fmt.Sprintf("chunk %d: %v", i, err)) })
		return nil, fmt.Errorf("blob %s, chunk %d: %w: %w", r.id.Short(), i, ErrDamaged, err)
	}
	return b, nil
}

func (r *Reader) read(k chunk) ([]byte, error) {
	p := make([]byte, k.stored)
	if _, err := r.f.ReadAt(p, k.offset); err != nil {
		return nil, err
	}
	if b := r.c.proven.find(p, k.sum, r.dir.words); len(b) == k.raw && b != nil {
		return bytes.Clone(b), nil
	}
	b, err := r.c.codec.unpack(p, k.raw, r.dir.words)
	if err != nil {
		return nil, err
	}
	if Sum(b) != k.sum {
		return nil, errors.New("its bytes changed")
	}
	r.c.proven.keep(p, b, k.sum, r.dir.words)
	return b, nil
}

// Close lets go of the file.
func (r *Reader) Close() error {
	if r.f == nil {
		return nil
	}
	if err := r.f.Close(); err != nil && !errors.Is(err, fs.ErrClosed) {
		return fmt.Errorf("close blob %s: %w", r.id.Short(), err)
	}
	return nil
}
