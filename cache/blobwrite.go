package cache

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Writer takes a large value chunk by chunk. It is for one goroutine at a time,
// and ends with Commit or Abort.
type Writer struct {
	c     *Cache
	f     *os.File
	dir   directory
	at    int64
	whole *ID // for Put: the ID of all the bytes
}

// Create begins a large value. The head is kept with it and is part of its
// identity. Words says that chunks are little-endian 4-byte words, such as
// float32 pixels, which compress better as such.
func (c *Cache) Create(head []byte, words bool) (*Writer, error) {
	w, err := c.create(head, words)
	if err != nil {
		return nil, fmt.Errorf("begin a cache file: %w", err)
	}
	return w, nil
}

func (c *Cache) create(head []byte, words bool) (*Writer, error) {
	leave, err := c.enter()
	if err != nil {
		return nil, err
	}
	defer leave()
	if err := c.room(); err != nil {
		return nil, err
	}
	f, err := os.CreateTemp(filepath.Join(c.dir, tempDir), "blob-*")
	if err != nil {
		return nil, err
	}
	w := &Writer{c: c, f: f, dir: directory{kind: blobList, words: words, head: append([]byte(nil), head...)}}
	if err := w.write([]byte(blobMagic)); err != nil {
		w.Abort()
		return nil, err
	}
	return w, nil
}

func (w *Writer) write(b []byte) error {
	n, err := w.f.Write(b)
	w.at += int64(n)
	return err
}

// Chunk adds a chunk of at most 256 MiB. It keeps nothing of b.
func (w *Writer) Chunk(b []byte) error {
	if w.f == nil {
		return errors.New("write chunk: the cache file was ended already")
	}
	if len(b) > maxChunk {
		return fmt.Errorf("write chunk: %d bytes are more than the %d of a chunk", len(b), maxChunk)
	}
	p, err := w.c.codec.pack(b, w.dir.words)
	if err != nil {
		return fmt.Errorf("compress chunk: %w", err)
	}
	if err := w.c.room(); err != nil {
		return fmt.Errorf("write chunk: %w", err)
	}
	w.dir.chunks = append(w.dir.chunks, chunk{w.at, len(p), len(b), Sum(b)})
	if err := w.write(p); err != nil {
		return fmt.Errorf("write chunk: %w", err)
	}
	return nil
}

// Commit ends the value and returns its ID: the SHA-256 of a text that lists
// head and chunks by length and SHA-256 (see FORMAT.md). When Commit returns,
// the value is on the disk.
func (w *Writer) Commit() (ID, error) {
	if w.f == nil {
		return ID{}, errors.New("end cache file: it was ended already")
	}
	id := w.dir.id()
	if w.whole != nil {
		id, w.dir.kind = *w.whole, blobWhole
	}
	if err := w.commit(id); err != nil {
		w.Abort()
		return ID{}, fmt.Errorf("store blob %s: %w", id.Short(), err)
	}
	return id, nil
}

func (w *Writer) commit(id ID) error {
	c := w.c
	leave, err := c.enter()
	if err != nil {
		return err
	}
	defer leave()
	if err := w.write(w.dir.encode(w.at)); err != nil {
		return err
	}
	if info, err := os.Stat(c.blobPath(id)); err == nil && info.Size() == w.at && c.blobPresent(id) {
		w.Abort()
		c.touch(kindBlob, id)
		return nil
	}
	if err := w.f.Sync(); err != nil {
		return err
	}
	if err := w.f.Close(); err != nil {
		return err
	}
	dir, err := c.makeBlobDir(id)
	if err != nil {
		return err
	}
	c.landing.RLock()
	defer c.landing.RUnlock()
	if err := os.Rename(w.f.Name(), c.blobPath(id)); err != nil {
		return err
	}
	w.f = nil
	if err := syncDir(dir); err != nil {
		return err
	}
	return c.index.put(pairs(kindBlob, id, timeBytes(w.at), c.uses.now())...)
}

// Abort gives the value up. After Commit it does nothing.
func (w *Writer) Abort() {
	if w.f == nil {
		return
	}
	_ = w.f.Close()
	_ = os.Remove(w.f.Name()) // what stays is removed by the next Open
	w.f = nil
}
