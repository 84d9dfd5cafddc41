package cache

import (
	"fmt"
	"os"
)

// smallUpTo is the largest value that is kept in the index and the journal, 256 KiB.
const smallUpTo = 256 << 10

// putChunk is how a larger value is cut into chunks.
const putChunk = 1 << 20

// Put stores b and returns its ID, which is always Sum(b).
func (c *Cache) Put(b []byte) (ID, error) {
	id := Sum(b)
	if err := c.putValue(id, b); err != nil {
		return ID{}, fmt.Errorf("store value %s: %w", id.Short(), err)
	}
	return id, nil
}

func (c *Cache) putValue(id ID, b []byte) error {
	if len(b) > smallUpTo {
		return c.putLarge(id, b)
	}
	leave, err := c.enter()
	if err != nil {
		return err
	}
	defer leave()
	// What is there is compared, not believed: a value is put again when a reader
	// found it damaged.
	if have, err := c.index.get(indexKey(kindValue, id)); err == nil && have != nil && Sum(have) == id {
		c.uses.touch(kindValue, id)
		return nil
	}
	return c.put(kindValue, id, b)
}

func (c *Cache) putLarge(id ID, b []byte) error {
	if c.Has(id) {
		c.touch(kindBlob, id)
		return nil
	}
	w, err := c.create(nil, false)
	if err != nil {
		return err
	}
	w.whole = &id
	for len(b) > 0 {
		n := min(len(b), putChunk)
		if err := w.Chunk(b[:n]); err != nil {
			w.Abort()
			return err
		}
		b = b[n:]
	}
	_, err = w.Commit()
	return err
}

func (c *Cache) touch(kind byte, id ID) { c.uses.touch(kind, id) }

// Get returns a value that Put stored. The error matches ErrMissing if there is
// none, and ErrDamaged if its bytes changed: then it is dropped, and is missing
// from there on.
func (c *Cache) Get(id ID) ([]byte, error) {
	b, err := c.get(id)
	if err != nil {
		return nil, fmt.Errorf("value %s: %w", id.Short(), err)
	}
	return b, nil
}

func (c *Cache) get(id ID) ([]byte, error) {
	leave, err := c.enter()
	if err != nil {
		return nil, err
	}
	b, err := c.index.get(indexKey(kindValue, id))
	leave()
	switch {
	case err != nil:
		c.dropSmall(kindValue, id, err.Error())
		return nil, ErrDamaged
	case b == nil:
		return c.getLarge(id)
	case Sum(b) != id:
		c.dropSmall(kindValue, id, "its bytes changed")
		return nil, ErrDamaged
	}
	c.touch(kindValue, id)
	return b, nil
}

func (c *Cache) getLarge(id ID) ([]byte, error) {
	r, err := c.openFile(id)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if r.dir.kind != blobWhole {
		return nil, fmt.Errorf("it is kept in chunks and has to be opened as such")
	}
	var out []byte
	for i := range r.Len() {
		b, err := r.Chunk(i)
		if err != nil {
			return nil, err
		}
		out = append(out, b...)
	}
	if Sum(out) != id {
		_ = r.Close()
		c.dropBlob(id, "its bytes are not those of its name")
		return nil, ErrDamaged
	}
	return out, nil
}

// Has tells whether a value or blob is catalogued and, if it is a file, stands
// there in its full length. It does not read the bytes.
func (c *Cache) Has(id ID) bool {
	leave, err := c.enter()
	if err != nil {
		return false
	}
	defer leave()
	return c.present(id)
}

// present is Has for callers that have entered. It touches nothing.
func (c *Cache) present(id ID) bool {
	return c.index.has(indexKey(kindValue, id)) || c.blobPresent(id)
}

func (c *Cache) blobPresent(id ID) bool {
	b, err := c.index.sealed(indexKey(kindBlob, id))
	if err != nil || len(b) != 8 {
		return false
	}
	info, err := os.Stat(c.blobPath(id))
	return err == nil && info.Size() == int64(le.Uint64(b))
}

// dropSmall forgets an entry that the index gave back wrong. The journal may
// still have it right: the index is made again at the next Open.
func (c *Cache) dropSmall(kind byte, id ID, why string) {
	leave, err := c.enter()
	if err != nil {
		return
	}
	defer leave()
	c.suspect.Store(true)
	_ = c.index.remove(indexKey(kind, id), useIndexKey(kind, id))
	c.warn("cache entry %s is damaged (%s); it was dropped and will be made again", id.Short(), why)
}

// dropBlob forgets a blob and removes its file.
func (c *Cache) dropBlob(id ID, why string) {
	leave, err := c.enter()
	if err != nil {
		return
	}
	defer leave()
	_ = c.index.remove(indexKey(kindBlob, id), useIndexKey(kindBlob, id))
	_ = os.Remove(c.blobPath(id)) // a file open elsewhere may stay; it is no longer catalogued
	c.warn("cache file %s is damaged (%s); it was dropped and will be made again", c.blobPath(id), why)
}
