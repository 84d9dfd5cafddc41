package cache

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
)

// compact writes the journal anew without what is replaced or dropped, then
// makes the index from it. Whoever calls it has the cache for himself.
//
// The new segments get higher numbers. The first of them, whose header says that
// older segments are superseded, is renamed into place last: a kill before that
// leaves the old journal in force, a kill after it the new one.
func (c *Cache) compact(ctx context.Context, drop map[useKey]bool) error {
	if err := c.flushUses(); err != nil {
		return err
	}
	pos := c.log.position()
	if err := c.log.close(); err != nil {
		return err
	}
	names, err := c.writeCompacted(ctx, drop)
	if err == nil {
		err = c.installSegments(names, pos.segment+1)
	}
	if err == nil {
		err = c.index.close()
	}
	if err == nil {
		err = c.rebuild(context.WithoutCancel(ctx), nil) // too late to turn back
	}
	if err != nil {
		c.suspect.Store(true)
		return fmt.Errorf("compact the journal: %w", err)
	}
	c.garbage.Store(0)
	c.suspect.Store(false)
	c.log, err = openJournal(filepath.Join(c.dir, journalDir))
	return err
}

// writeCompacted writes the records to keep into temporary segments, in the
// order of the old journal, each with its last use as its time.
func (c *Cache) writeCompacted(ctx context.Context, drop map[useKey]bool) ([]string, error) {
	dir := filepath.Join(c.dir, journalDir)
	last := map[useKey]position{}
	each := func(fn func(p position, r record, k useKey) error) error {
		_, err := scanJournal(dir, func(p position, r record) error {
			if err := ctx.Err(); err != nil {
				return err
			}
			if id, err := payloadID(r.kind, r.payload); err == nil && !drop[useKey{r.kind, id}] {
				return fn(p, r, useKey{r.kind, id})
			}
			return nil
		}, nil)
		return err
	}
	err := each(func(p position, r record, k useKey) error { last[k] = p; return nil })
	if err != nil {
		return nil, err
	}
	out := segmentWriter{dir: filepath.Join(c.dir, tempDir)}
	defer out.close()
	if err := out.next(flagBase); err != nil {
		return nil, err
	}
	err = each(func(p position, r record, k useKey) error {
		if last[k] != p {
			return nil
		}
		if t := c.index.lastUse(k.kind, k.id); t > 0 {
			r.time = t
		}
		return out.add(r)
	})
	if err == nil {
		err = c.writeBlobUses(&out)
	}
	if e := out.close(); err == nil {
		err = e
	}
	return out.names, err
}

// writeBlobUses keeps the last uses of blobs, which have no record of their own.
func (c *Cache) writeBlobUses(out *segmentWriter) error {
	var b []byte
	err := c.index.each(kindBlob, func(id ID, _ int64) error {
		if t := c.index.lastUse(kindBlob, id); t > 0 {
			b = encodeUse(b, useAt{useKey{kindBlob, id}, t})
		}
		if len(b) < 1<<20 {
			return nil
		}
		r := record{kindUse, 0, b}
		b = nil
		return out.add(r)
	})
	if err == nil && len(b) > 0 {
		err = out.add(record{kindUse, 0, b})
	}
	return err
}

// installSegments moves segments into the journal, the first one last, then
// removes those before them.
func (c *Cache) installSegments(names []string, first uint64) error {
	dir := filepath.Join(c.dir, journalDir)
	if err := writeState(c.dir, state{word: stateRebuild}); err != nil {
		return err
	}
	for i := len(names) - 1; i >= 0; i-- {
		if err := os.Rename(names[i], segmentPath(dir, first+uint64(i))); err != nil {
			return err
		}
		if i <= 1 { // the others must be on the disk before the first is
			if err := syncDir(dir); err != nil {
				return err
			}
		}
	}
	return dropSuperseded(dir)
}

// segmentWriter writes journal segments into files of its own.
type segmentWriter struct {
	dir   string
	names []string
	f     *os.File
	size  int64
}

func (w *segmentWriter) next(flags uint32) error {
	if err := w.close(); err != nil {
		return err
	}
	f, err := os.CreateTemp(w.dir, "journal-*")
	if err != nil {
		return err
	}
	w.f, w.names, w.size = f, append(w.names, f.Name()), segmentHead
	_, err = f.Write(segmentHeader(flags))
	return err
}

func (w *segmentWriter) add(r record) error {
	if w.size >= segmentLimit {
		if err := w.next(0); err != nil {
			return err
		}
	}
	n, err := w.f.Write(appendRecord(nil, r))
	w.size += int64(n)
	return err
}

func (w *segmentWriter) close() error {
	if w.f == nil {
		return nil
	}
	err := w.f.Sync()
	if e := w.f.Close(); err == nil {
		err = e
	}
	w.f = nil
	return err
}
