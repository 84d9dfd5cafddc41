package cache

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// openIndex opens Badger if its files can be trusted, and else makes it again.
func (c *Cache) openIndex(ctx context.Context) error {
	log := filepath.Join(c.dir, journalDir)
	if err := dropSuperseded(log); err != nil {
		return err
	}
	st := readState(c.dir)
	var doubt error
	switch {
	case st.word == stateClean:
		doubt = st.unchanged(filepath.Join(c.dir, indexDir))
	case st.word == stateOpen:
		// The last process died. Nothing says what its index should be, and the database gives up the process over
		// damage that it finds while it opens.
		return c.rebuild(ctx, nil)
	default:
		doubt = errors.New("it was damaged")
	}
	if doubt != nil {
		return c.rebuild(ctx, doubt)
	}
	if err := writeState(c.dir, state{word: stateOpen}); err != nil {
		return err
	}
	x, err := openBadger(filepath.Join(c.dir, indexDir))
	if err != nil {
		return c.rebuild(ctx, err)
	}
	c.index = x
	return nil
}

// Mend makes the index again at once if it was seen to give wrong bytes, so that what it lost comes back from the journal. Other
// calls wait meanwhile.
func (c *Cache) Mend(ctx context.Context) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed || !c.suspect.Load() {
		return nil
	}
	err := c.log.close()
	if err == nil {
		_ = c.index.close() // it is thrown away
		err = c.rebuild(ctx, errors.New("it gave wrong bytes"))
	}
	if err == nil {
		c.suspect.Store(false)
		c.log, err = openJournal(filepath.Join(c.dir, journalDir))
	}
	if err != nil {
		return fmt.Errorf("mend cache %s: %w", c.dir, err)
	}
	return nil
}

// rebuild makes the index from the journal and the blob files. It tells of it
// unless the folder is new.
func (c *Cache) rebuild(ctx context.Context, why error) error {
	if err := writeState(c.dir, state{word: stateRebuild}); err != nil {
		return err
	}
	dir := filepath.Join(c.dir, indexDir)
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	size, err := journalBytes(filepath.Join(c.dir, journalDir))
	if err != nil {
		return err
	}
	if err := roomFor(c.dir, opening+size); err != nil {
		return err
	}
	x, err := openBadger(dir)
	if err != nil {
		return err
	}
	c.index = x
	n, err := c.replay(ctx)
	if err != nil {
		return err
	}
	if err := x.db.Sync(); err != nil {
		return err
	}
	if n > 0 && why != nil {
		c.warn("the cache's index was made again (%v): %d entries came back from the journal and the blob files", why, n)
	}
	return writeState(c.dir, state{word: stateOpen})
}

// journalBytes is what all journal segments take.
func journalBytes(dir string) (sum int64, err error) {
	segs, err := segments(dir)
	for _, s := range segs {
		info, e := os.Stat(segmentPath(dir, s))
		if e != nil {
			return 0, e
		}
		sum += info.Size()
	}
	return sum, err
}

// replay brings the journal and all blob files into the
// index, and cuts off a record that was left unfinished. It returns how many
// entries there were.
func (c *Cache) replay(ctx context.Context) (int, error) {
	log := filepath.Join(c.dir, journalDir)
	b := c.index.batch()
	n := 0
	used := map[useKey]bool{}
	end, err := scanJournal(log, func(_ position, r record) error {
		if r.kind == kindUse {
			for _, u := range decodeUses(r.payload) {
				used[u.useKey] = true
				b.set(pair{useIndexKey(u.kind, u.id), timeBytes(u.time)})
			}
			return ctx.Err()
		}
		id, err := payloadID(r.kind, r.payload)
		if err != nil {
			return ctx.Err() // a kind that we do not know
		}
		for _, p := range pairs(r.kind, id, r.payload, r.time) {
			b.set(p)
		}
		n++
		return ctx.Err()
	}, nil)
	if err == nil {
		err = blobFiles(c.dir, func(id ID, info fs.FileInfo) error {
			key := indexKey(kindBlob, id)
			b.set(pair{key, seal(key, timeBytes(info.Size()))})
			if !used[useKey{kindBlob, id}] && c.index.lastUse(kindBlob, id) == 0 {
				b.set(pair{useIndexKey(kindBlob, id), timeBytes(info.ModTime().UnixNano())})
			}
			n++
			return ctx.Err()
		}, nil)
	}
	if err != nil {
		b.w.Cancel()
		return n, err
	}
	if err := b.flush(); err != nil {
		return n, err
	}
	return n, cutTornEnd(log, end)
}

// useAt is one last use as a compacted journal keeps it.
type useAt struct {
	useKey
	time int64
}

func encodeUse(b []byte, u useAt) []byte {
	b = append(append(b, u.kind), u.id[:]...)
	return le.AppendUint64(b, uint64(u.time))
}

func decodeUses(b []byte) []useAt {
	var out []useAt
	for f := (fields{b: b}); len(f.b) > 0 && !f.bad; {
		kind := f.take(1)
		u := useAt{useKey{id: f.id()}, int64(f.u64())}
		if f.bad {
			break
		}
		u.kind = kind[0]
		out = append(out, u)
	}
	return out
}
