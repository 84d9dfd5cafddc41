package cache

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
)

// Floor is what a cache leaves free of its disk, in bytes. The index writes through mapped memory: where the disk has no room
// for that the system ends the process on the spot. Below the floor nothing is stored any more, and the error matches
// syscall.ENOSPC; notes and stamps, which only save time, are not kept then.
const Floor = 64 << 20

// opening is what opening a cache may take beside the size of the journal, in bytes.
const opening = 8 << 20

// roomError says that a disk is too full to go on.
type roomError struct {
	dir        string
	free, want int64
}

func (e *roomError) Error() string {
	return fmt.Sprintf("the disk of %s has %d MB free, of which the cache needs %d MB to work in: no space left on device", e.dir, e.free/1e6, e.want/1e6)
}

func (e *roomError) Unwrap() error { return syscall.ENOSPC }

// roomFor returns an error if less than some bytes are free on the disk of a folder.
func roomFor(dir string, want int64) error {
	if free, ok := freeBytes(dir); ok && free < want {
		return &roomError{dir, free, want}
	}
	return nil
}

// room returns an error where the cache must store nothing more.
func (c *Cache) room() error { return roomFor(c.dir, Floor) }

// MakeRoom readies a cache for Trim on a disk that is too full even to open it: it removes the index, which the next Open
// makes again, and blobs, those first that were made first, until there is room or they take at most to bytes. Where
// there is room it does nothing.
func MakeRoom(ctx context.Context, dir string, to int64, o Options) (Freed, error) {
	var freed Freed
	if roomFor(dir, Floor) == nil {
		return freed, nil
	}
	if _, err := os.Stat(filepath.Join(dir, versionFile)); err != nil {
		return freed, nil // no cache stands here: nothing of it is ours to remove
	}
	lock, err := takeLock(ctx, dir, o)
	if err != nil {
		return freed, err
	}
	defer lock.release()
	if err := os.Remove(filepath.Join(dir, stateFile)); err != nil && !os.IsNotExist(err) {
		return freed, fmt.Errorf("make room in cache %s: %w", dir, err)
	}
	if err := os.RemoveAll(filepath.Join(dir, indexDir)); err != nil {
		return freed, fmt.Errorf("make room in cache %s: %w", dir, err)
	}
	type file struct {
		id   ID
		path string
		info fs.FileInfo
	}
	var all []file
	var total int64
	err = blobFiles(dir, func(id ID, info fs.FileInfo) error {
		all = append(all, file{id, (&Cache{dir: dir}).blobPath(id), info})
		total += info.Size()
		return ctx.Err()
	}, nil)
	if err != nil {
		return freed, fmt.Errorf("make room in cache %s: %w", dir, err)
	}
	slices.SortFunc(all, func(a, b file) int {
		return cmp.Or(a.info.ModTime().Compare(b.info.ModTime()), bytes.Compare(a.id[:], b.id[:]))
	})
	for _, f := range all {
		if total <= to || roomFor(dir, Floor) == nil || ctx.Err() != nil {
			break
		}
		if os.Remove(f.path) == nil {
			freed.Entries++
			freed.Bytes += f.info.Size()
		}
		total -= f.info.Size()
	}
	return freed, ctx.Err()
}
