package cache

import (
	"bytes"
	"errors"
	"fmt"
	"runtime/debug"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
)

// index is the Badger database. A panic inside it on our own goroutine comes
// back as an error.
type index struct{ db *badger.DB }

// pair is a key with its value.
type pair struct{ key, value []byte }

// inlineBelow is the size up to which values lie in Badger's tables; larger ones
// go to its value log, which keeps the tables that every Open reads small.
const inlineBelow = 1 << 10

func openBadger(dir string) (x *index, err error) {
	defer caught(&err)
	o := badger.DefaultOptions(dir).
		WithLogger(nil).
		WithMetricsEnabled(false).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithMemTableSize(8 << 20).
		WithNumMemtables(2).
		WithNumCompactors(2).
		WithValueThreshold(inlineBelow).
		WithValueLogFileSize(16 << 20).
		WithChecksumVerificationMode(options.OnTableRead).
		WithDetectConflicts(false).
		WithSyncWrites(false) // the journal is what must survive: see the package comment
	db, err := badger.Open(o)
	if err != nil {
		return nil, err
	}
	return &index{db}, nil
}

// caught turns a panic into an error. A fault in mapped memory (a file cut short
// under us, a bad sector) panics too if debug.SetPanicOnFault is set.
func caught(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("the index broke off: %v", p)
	}
}

func (x *index) close() (err error) {
	defer caught(&err)
	if err := x.db.Sync(); err != nil {
		return err
	}
	return x.db.Close()
}

// get returns nil without an error when the key is absent.
func (x *index) get(key []byte) (value []byte, err error) {
	defer caught(&err)
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	err = x.db.View(func(t *badger.Txn) error {
		it, err := t.Get(key)
		if err != nil {
			return err
		}
		value, err = it.ValueCopy([]byte{})
		return err
	})
	if errors.Is(err, badger.ErrKeyNotFound) {
		return nil, nil
	}
	return value, err
}

// has looks for a key without reading its value.
func (x *index) has(key []byte) bool {
	ok := false
	err := func() (err error) {
		defer caught(&err)
		defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
		return x.db.View(func(t *badger.Txn) error {
			_, err := t.Get(key)
			ok = err == nil
			return nil
		})
	}()
	return ok && err == nil
}

func (x *index) put(ps ...pair) (err error) {
	defer caught(&err)
	return x.db.Update(func(t *badger.Txn) error {
		for _, p := range ps {
			if err := t.Set(p.key, p.value); err != nil {
				return fmt.Errorf("write to the index: %w", err)
			}
		}
		return nil
	})
}

func (x *index) remove(keys ...[]byte) (err error) {
	defer caught(&err)
	return x.db.Update(func(t *badger.Txn) error {
		for _, k := range keys {
			if err := t.Delete(k); err != nil {
				return fmt.Errorf("remove from the index: %w", err)
			}
		}
		return nil
	})
}

// each calls fn with every id of a kind and the size of its value, in order of id.
func (x *index) each(kind byte, fn func(id ID, size int64) error) (err error) {
	defer caught(&err)
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	return x.db.View(func(t *badger.Txn) error {
		it := t.NewIterator(badger.IteratorOptions{Prefix: []byte{kind}})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			k := it.Item().Key()
			if len(k) != 1+len(ID{}) {
				continue
			}
			if err := fn(ID(k[1:]), it.Item().ValueSize()); err != nil {
				return err
			}
		}
		return nil
	})
}

func indexKey(kind byte, id ID) []byte { return append([]byte{kind}, id[:]...) }

func useIndexKey(kind byte, id ID) []byte { return append([]byte{kindUse, kind}, id[:]...) }

// sealLen bytes of SHA-256 over key and payload stand before every value that is
// not named by its own content.
const sealLen = 8

func seal(key, payload []byte) []byte {
	sum := Sum(append(bytes.Clone(key), payload...))
	return append(sum[:sealLen:sealLen], payload...)
}

// unseal returns errMalformed if value is not what was sealed under key.
func unseal(key, value []byte) ([]byte, error) {
	if len(value) < sealLen || !bytes.Equal(seal(key, value[sealLen:])[:sealLen], value[:sealLen]) {
		return nil, errMalformed
	}
	return value[sealLen:], nil
}

// sealed reads and unseals; nil without an error means absent.
func (x *index) sealed(key []byte) ([]byte, error) {
	v, err := x.get(key)
	if v == nil || err != nil {
		return nil, err
	}
	return unseal(key, v)
}

// pairs says what the index holds for one thing, last used at t.
func pairs(kind byte, id ID, payload []byte, t int64) []pair {
	key := indexKey(kind, id)
	if kind != kindValue {
		payload = seal(key, payload)
	}
	return []pair{{key, payload}, {useIndexKey(kind, id), timeBytes(t)}}
}

// lastUse returns when something was last used, 0 if that is not known.
func (x *index) lastUse(kind byte, id ID) int64 {
	if b, err := x.get(useIndexKey(kind, id)); err == nil && len(b) == 8 {
		return int64(le.Uint64(b))
	}
	return 0
}

var garbageKey = []byte("garbage")

func (x *index) garbage() int64 {
	if b, err := x.sealed(garbageKey); err == nil && len(b) == 8 {
		return int64(le.Uint64(b))
	}
	return 0
}

func (x *index) setGarbage(n int64) error {
	if x.garbage() == n {
		return nil
	}
	return x.put(pair{garbageKey, seal(garbageKey, timeBytes(n))})
}

// batch writes many pairs; errors come at flush.
type batch struct {
	w   *badger.WriteBatch
	err error
}

func (x *index) batch() *batch { return &batch{w: x.db.NewWriteBatch()} }

func (b *batch) set(p pair) {
	if b.err == nil {
		b.err = b.w.Set(p.key, p.value)
	}
}

func (b *batch) flush() (err error) {
	defer caught(&err)
	if b.err != nil {
		b.w.Cancel()
		return fmt.Errorf("write to the index: %w", b.err)
	}
	return b.w.Flush()
}
