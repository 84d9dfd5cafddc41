package cache

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Fault is one thing that is wrong in a cache.
type Fault struct {
	Where string // a file of the cache folder, or "index"
	ID    ID     // the entry, if one is known
	Text  string
}

func (f Fault) String() string {
	if f.ID.IsZero() {
		return f.Where + ": " + f.Text
	}
	return fmt.Sprintf("%s: %s: %s", f.Where, f.ID.Short(), f.Text)
}

// checker carries what one Check gathers.
type checker struct {
	c           *Cache
	ctx         context.Context
	progress    func(done, total int64)
	begun       int64 // by the clock of last uses
	done, total int64
	faults      []Fault
	logged      map[useKey]bool // what the journal holds
	read        map[ID]bool     // blob files seen
}

// Check reads everything, derives every ID again and returns all faults found; it
// never stops at the first, and changes nothing. Progress, if not nil, is told
// the bytes done and those in all. Other calls go on meanwhile.
func (c *Cache) Check(ctx context.Context, progress func(done, total int64)) ([]Fault, error) {
	leave, err := c.enter()
	if err != nil {
		return nil, err
	}
	defer leave()
	c.landing.Lock() // what was on its way has arrived; what comes now is younger
	begun := c.uses.now()
	c.landing.Unlock()
	k := &checker{c: c, ctx: ctx, begun: begun, progress: progress, logged: map[useKey]bool{}, read: map[ID]bool{}}
	if u, err := c.size(); err == nil {
		k.total = u.BlobBytes + u.JournalBytes + u.IndexBytes
	} // else the index is so damaged that it cannot be counted: said below
	for _, step := range []func() error{k.journal, k.blobs, k.index} {
		if err := step(); err != nil {
			return k.faults, fmt.Errorf("check cache: %w", err)
		}
	}
	return k.faults, nil
}

func (k *checker) fault(where string, id ID, format string, args ...any) {
	k.faults = append(k.faults, Fault{where, id, fmt.Sprintf(format, args...)})
}

func (k *checker) advance(n int64) {
	k.done = min(k.done+n, k.total)
	if k.progress != nil {
		k.progress(k.done, k.total)
	}
}

func (k *checker) journal() error {
	dir := filepath.Join(k.c.dir, journalDir)
	name := func(p position) string { return filepath.Join(journalDir, filepath.Base(segmentPath(dir, p.segment))) }
	_, err := scanJournal(dir, func(p position, r record) error {
		k.advance(recordSize(int64(len(r.payload))))
		if r.kind == kindUse {
			return k.ctx.Err()
		}
		id, err := payloadID(r.kind, r.payload)
		if err != nil {
			k.fault(name(p), ID{}, "the record at byte %d is of a kind that is not known", p.offset)
			return k.ctx.Err()
		}
		k.logged[useKey{r.kind, id}] = true
		return k.ctx.Err()
	}, func(p position, n int64) {
		if end := k.c.log.position(); p.segment == end.segment && p.offset+n > end.offset {
			return // being written just now
		}
		k.fault(name(p), ID{}, "%d bytes from byte %d on are damaged", n, p.offset)
	})
	return err
}

// catalogued tells whether a blob file that was seen is in the index, once those
// that are just being put there have arrived.
func (c *Cache) catalogued(id ID) bool {
	if c.index.has(indexKey(kindBlob, id)) {
		return true
	}
	c.landing.Lock()
	defer c.landing.Unlock()
	return c.index.has(indexKey(kindBlob, id))
}

func (k *checker) blobs() error {
	return blobFiles(k.c.dir, func(id ID, info fs.FileInfo) error {
		size := info.Size()
		k.read[id] = true
		where, _ := filepath.Rel(k.c.dir, k.c.blobPath(id))
		known := k.c.catalogued(id)
		want := k.c.blobSize(id)
		switch {
		case !known:
			k.fault(where, id, "the file is not in the catalogue")
		case want != size:
			k.fault(where, id, "the file has %d bytes, the catalogue says %d", size, want)
		}
		if err := k.blob(where, id); err != nil {
			return err
		}
		k.advance(size)
		return k.ctx.Err()
	}, func(path string) {
		where, _ := filepath.Rel(k.c.dir, path)
		k.fault(where, ID{}, "the file does not belong here")
	})
}

// blob reads one file whole; all its bad chunks are listed.
func (k *checker) blob(where string, id ID) error {
	f, err := os.Open(k.c.blobPath(id))
	if err != nil {
		k.fault(where, id, "%v", err)
		return nil
	}
	defer f.Close()
	d, err := readDirectory(f)
	if err != nil {
		k.fault(where, id, "%v", err)
		return nil
	}
	r := &Reader{c: k.c, id: id, f: f, dir: d}
	whole, sound := sha256.New(), true
	for i, ch := range d.chunks {
		b, err := r.read(ch)
		if err != nil {
			k.fault(where, id, "chunk %d of %d: %v", i+1, len(d.chunks), err)
			sound = false
		}
		whole.Write(b)
		if err := k.ctx.Err(); err != nil {
			return err
		}
	}
	got := d.id()
	if d.kind == blobWhole {
		got = ID(whole.Sum(nil))
	}
	if sound && got != id {
		k.fault(where, id, "the content is that of %s", got)
	}
	return nil
}

func (k *checker) index() error {
	if err := k.c.index.db.VerifyChecksum(); err != nil {
		k.fault("index", ID{}, "a table is damaged: %v", err)
	}
	for _, kind := range []byte{kindValue, kindAction, kindStamp, kindNote, kindBlob} {
		var ids []ID
		err := k.c.index.each(kind, func(id ID, size int64) error { ids = append(ids, id); return nil })
		if err != nil {
			k.fault("index", ID{}, "%v", err)
		}
		for _, id := range ids {
			n, err := k.entry(kind, id)
			if err != nil {
				k.fault("index", id, "%s: %v", kindName(kind), err)
			}
			// What was put since the journal was read is not to blame.
			if kind != kindBlob && !k.logged[useKey{kind, id}] && k.c.index.lastUse(kind, id) < k.begun {
				k.fault("index", id, "%s: the journal does not have it", kindName(kind))
			}
			k.advance(n + pairCost)
			if err := k.ctx.Err(); err != nil {
				return err
			}
		}
	}
	return nil
}

// entry reads one entry of the index and derives it again.
func (k *checker) entry(kind byte, id ID) (int64, error) {
	key := indexKey(kind, id)
	b, err := k.c.index.get(key)
	if err == nil && b != nil && kind != kindValue {
		b, err = unseal(key, b)
	}
	n := int64(len(b))
	if err != nil || b == nil { // nil: dropped meanwhile
		return n, err
	}
	if kind == kindBlob {
		if !k.read[id] && !k.c.blobPresent(id) {
			return n, errors.New("its file is missing")
		}
		return n, nil
	}
	if got, err := payloadID(kind, b); err != nil || got != id {
		return n, errors.New("its bytes changed")
	}
	if kind != kindAction {
		return n, nil
	}
	e, err := decodeEntry(b)
	for _, o := range e.Outputs {
		if !k.c.present(o.ID) {
			return n, fmt.Errorf("its output %s, %s, is missing", o.Port, o.ID.Short())
		}
	}
	return n, err
}

func kindName(kind byte) string {
	return map[byte]string{kindValue: "value", kindAction: "action", kindStamp: "file stamp", kindNote: "note", kindBlob: "blob"}[kind]
}
