package cache

import "fmt"

// Usage says what a cache holds. Sizes are in bytes.
type Usage struct {
	Actions int
	Values  int // small values
	Blobs   int
	Stamps  int
	Notes   int

	SmallBytes   int64 // of the small values themselves
	BlobBytes    int64 // of the blob files, compressed
	JournalBytes int64
	IndexBytes   int64 // of keys and values in the index, without its slack
}

// Entries is the number of all things kept.
func (u Usage) Entries() int { return u.Actions + u.Values + u.Blobs + u.Stamps + u.Notes }

// Total is what the cache takes on the disk.
func (u Usage) Total() int64 { return u.BlobBytes + u.JournalBytes + u.IndexBytes }

// pairCost is the size of an index entry's key, its seal and its last use, about.
const pairCost = 100

// Size adds up what the cache holds.
func (c *Cache) Size() (Usage, error) {
	leave, err := c.enter()
	if err != nil {
		return Usage{}, err
	}
	defer leave()
	return c.size()
}

func (c *Cache) size() (Usage, error) {
	var u Usage
	counts := map[byte]*int{kindAction: &u.Actions, kindValue: &u.Values, kindBlob: &u.Blobs, kindStamp: &u.Stamps, kindNote: &u.Notes}
	for kind, n := range counts {
		err := c.index.each(kind, func(id ID, size int64) error {
			*n++
			u.IndexBytes += size + pairCost
			switch kind {
			case kindValue:
				u.SmallBytes += size
			case kindBlob:
				u.BlobBytes += c.blobSize(id)
			}
			return nil
		})
		if err != nil {
			return Usage{}, fmt.Errorf("add up the cache: %w", err)
		}
	}
	c.log.mu.Lock()
	u.JournalBytes = c.log.total
	c.log.mu.Unlock()
	return u, nil
}

// blobSize is the size that a blob is catalogued with, 0 if that is damaged.
func (c *Cache) blobSize(id ID) int64 {
	if b, err := c.index.sealed(indexKey(kindBlob, id)); err == nil && len(b) == 8 {
		return int64(le.Uint64(b))
	}
	return 0
}

// SizeOf is what a value or blob takes on the disk, in bytes, 0 if it is not there.
func (c *Cache) SizeOf(id ID) int64 {
	leave, err := c.enter()
	if err != nil {
		return 0
	}
	defer leave()
	if n := c.blobSize(id); n > 0 {
		return n
	}
	if b, err := c.index.get(indexKey(kindValue, id)); err == nil {
		return 2 * int64(len(b)) // in the journal and in the index
	}
	return 0
}
