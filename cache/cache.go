package cache

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
)

// Errors that callers may want to tell apart, with errors.Is.
var (
	ErrBusy    = errors.New("the cache is in use by another process")
	ErrDamaged = errors.New("damaged in the cache")
	ErrMissing = errors.New("not in the cache")
	ErrClosed  = errors.New("the cache is closed")
)

// Options say how a cache is opened. The zero value waits for the lock in silence.
type Options struct {
	Build  string              // the running build, noted with actions for information
	NoWait bool                // return ErrBusy rather than wait for another process
	OnWait func(holder string) // called once before waiting, with who holds the lock
	Warn   func(text string)   // told of damage that was found and dealt with
}

// Cache is an open cache folder. Its methods are safe for concurrent use.
type Cache struct {
	landing sync.RWMutex // read-held while something is in the journal or has its name, and is not yet in the index
	dir     string
	opts    Options
	lock    *processLock

	mu     sync.RWMutex // held for writing while the index is replaced or closed
	closed bool
	index  *index
	log    *journal

	uses    uses
	codec   codec
	proven  proven
	garbage atomic.Int64 // bytes of journal records that newer ones replace
	suspect atomic.Bool  // the index gave wrong bytes: make it again at the next Open
}

// Open opens the cache in dir, making the folder if need be. It first takes the
// process lock, waiting until ctx ends; then removes what a killed process left
// behind, and makes the index anew if it is damaged.
func Open(ctx context.Context, dir string, o Options) (*Cache, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("open cache: %w", err)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("make the cache folder: %w", err)
	}
	lock, err := takeLock(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	c := &Cache{dir: dir, opts: o, lock: lock}
	if err := c.open(ctx); err != nil {
		c.abandon()
		return nil, fmt.Errorf("open cache %s: %w", dir, err)
	}
	return c, nil
}

func (c *Cache) open(ctx context.Context) error {
	switch older, err := checkVersion(c.dir); {
	case err != nil:
		return err
	case older != 0:
		c.warn("it was in format %d, which this program does not read: it begins anew in format %d", older, version)
	}
	c.setClock()
	for _, d := range []string{blobsDir, journalDir} {
		if err := os.MkdirAll(filepath.Join(c.dir, d), 0o777); err != nil {
			return err
		}
	}
	if err := clearTemp(c.dir); err != nil {
		return err
	}
	if err := roomFor(c.dir, opening); err != nil {
		return err
	}
	if err := c.openIndex(ctx); err != nil {
		return err
	}
	log, err := openJournal(filepath.Join(c.dir, journalDir))
	if err != nil {
		return err
	}
	c.log = log
	c.garbage.Store(c.index.garbage())
	if g := c.garbage.Load(); g > compactAbove && g > log.total/2 && c.room() == nil {
		return c.compact(ctx, nil)
	}
	return nil
}

// setClock sees to it that uses of now count as younger than those before, though the system's clock was set back.
func (c *Cache) setClock() {
	info, err := os.Stat(filepath.Join(c.dir, stateFile))
	if err != nil {
		return
	}
	last := info.ModTime()
	c.uses.last = last.UnixNano()
	if back := time.Until(last); back > time.Minute {
		c.warn("the clock says %s, and the cache was last used at %s: is it right? Pictures do not depend on it", time.Now().Format(time.DateTime), last.Format(time.DateTime))
	}
}

// compactAbove is how much of the journal may be garbage before Open cares.
const compactAbove = 4 << 20

// abandon lets go of everything after a failed open.
func (c *Cache) abandon() {
	if c.log != nil {
		_ = c.log.close()
	}
	if c.index != nil {
		_ = c.index.close()
	}
	c.lock.release()
}

// Close writes what was kept back, notes that the index is in order, and lets
// the next process in. A second Close does nothing.
func (c *Cache) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return nil
	}
	c.closed = true
	defer c.lock.release()
	if c.room() != nil { // the index is left as a kill would leave it: closing it takes room
		if err := c.log.close(); err != nil {
			return fmt.Errorf("close cache %s: %w", c.dir, err)
		}
		return nil
	}
	err := c.flushUses()
	if e := c.index.setGarbage(c.garbage.Load()); err == nil {
		err = e
	}
	if e := c.log.close(); err == nil {
		err = e
	}
	if e := c.index.close(); err == nil {
		err = e
	}
	if err != nil { // the state on disk still says "open": the next Open makes the index again
		return fmt.Errorf("close cache %s: %w", c.dir, err)
	}
	st := state{word: stateClean}
	if c.suspect.Load() {
		st.word = stateRebuild
	} else if st.files, err = fingerprint(filepath.Join(c.dir, indexDir)); err != nil {
		return fmt.Errorf("close cache %s: %w", c.dir, err)
	}
	if err := writeState(c.dir, st); err != nil {
		return fmt.Errorf("close cache %s: %w", c.dir, err)
	}
	return nil
}

// enter guards a call against Close and against the index being replaced.
func (c *Cache) enter() (leave func(), err error) {
	c.mu.RLock()
	if c.closed {
		c.mu.RUnlock()
		return nil, ErrClosed
	}
	return c.mu.RUnlock, nil
}

func (c *Cache) warn(format string, args ...any) {
	if c.opts.Warn != nil {
		c.opts.Warn(fmt.Sprintf(format, args...))
	}
}

// put writes one thing to the journal, then to the index.
func (c *Cache) put(kind byte, id ID, payload []byte) error {
	if len(payload) > maxPayload {
		return fmt.Errorf("an entry of %d bytes is larger than the %d that the journal takes", len(payload), maxPayload)
	}
	if err := c.room(); err != nil {
		if kind == kindNote || kind == kindStamp {
			return nil
		}
		return err
	}
	c.landing.RLock()
	defer c.landing.RUnlock()
	now := c.uses.now()
	if err := c.log.append(kind, now, payload); err != nil {
		return err
	}
	if err := c.index.put(pairs(kind, id, payload, now)...); err != nil {
		return err
	}
	return nil
}

// uses holds last uses until they are written. Its clock never stands still, so
// that two uses are never of the same age.
type uses struct {
	mu   sync.Mutex
	last int64
	at   map[useKey]int64
}

type useKey struct {
	kind byte
	id   ID
}

func (u *uses) now() int64 {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.tick()
}

func (u *uses) tick() int64 {
	u.last = max(u.last+1, time.Now().UnixNano())
	return u.last
}

func (u *uses) touch(kind byte, id ID) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.at == nil {
		u.at = map[useKey]int64{}
	}
	u.at[useKey{kind, id}] = u.tick()
}

func (u *uses) take() map[useKey]int64 {
	u.mu.Lock()
	defer u.mu.Unlock()
	at := u.at
	u.at = nil
	return at
}

func (c *Cache) flushUses() error {
	at := c.uses.take()
	if c.room() != nil {
		return nil // they only say what to drop first
	}
	b := c.index.batch()
	for k, t := range at {
		b.set(pair{useIndexKey(k.kind, k.id), timeBytes(t)})
	}
	return b.flush()
}
