package cache

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"os"
	"slices"
)

// Freed says what Trim dropped.
type Freed struct {
	Entries int
	Bytes   int64
}

// item is something that Trim may drop.
type item struct {
	useKey
	used int64
	cost int64
}

// Trim drops the least recently used values, blobs and actions until the cache
// takes at most to bytes, and with them every action that lacks an output.
// Stamps and notes stay. Other calls wait meanwhile.
func (c *Cache) Trim(ctx context.Context, to int64) (Freed, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return Freed{}, ErrClosed
	}
	freed, err := c.trim(ctx, to)
	if err != nil {
		return freed, fmt.Errorf("trim cache: %w", err)
	}
	return freed, nil
}

func (c *Cache) trim(ctx context.Context, to int64) (Freed, error) {
	before, err := c.size()
	if err != nil {
		return Freed{}, err
	}
	if err := c.flushUses(); err != nil {
		return Freed{}, err
	}
	items, total, err := c.items()
	if err != nil {
		return Freed{}, err
	}
	drop := map[useKey]bool{}
	for _, it := range items {
		if total <= to || ctx.Err() != nil {
			break
		}
		if it.kind == kindBlob {
			// A file that cannot be removed, because someone reads it, stays.
			if err := os.Remove(c.blobPath(it.id)); err != nil && !os.IsNotExist(err) {
				continue
			}
			if err := c.index.remove(indexKey(kindBlob, it.id)); err != nil {
				return Freed{}, err
			}
		}
		drop[it.useKey] = true
		total -= it.cost
	}
	c.dropIncomplete(items, drop)
	if err := c.compact(ctx, drop); err != nil {
		return Freed{}, err
	}
	after, err := c.size()
	return Freed{Entries: before.Entries() - after.Entries(), Bytes: before.Total() - after.Total()}, err
}

// items lists what may be dropped, least recently used first, and what the cache
// will take with all of it.
func (c *Cache) items() ([]item, int64, error) {
	var items []item
	var total int64
	for _, kind := range []byte{kindAction, kindValue, kindBlob, kindStamp, kindNote} {
		err := c.index.each(kind, func(id ID, size int64) error {
			it := item{useKey: useKey{kind, id}, used: c.index.lastUse(kind, id), cost: size + pairCost}
			if kind == kindBlob {
				it.cost += c.blobSize(id)
			} else {
				it.cost += recordSize(size)
			}
			total += it.cost
			if kind != kindStamp && kind != kindNote {
				items = append(items, it)
			}
			return nil
		})
		if err != nil {
			return nil, 0, err
		}
	}
	slices.SortFunc(items, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.used, b.used), bytes.Compare(a.id[:], b.id[:]))
	})
	return items, total, nil
}

// dropIncomplete adds the actions that lack an output, or are damaged.
func (c *Cache) dropIncomplete(items []item, drop map[useKey]bool) {
	for _, it := range items {
		if it.kind != kindAction {
			continue
		}
		e, ok, _ := c.action(it.id)
		for _, o := range e.Outputs {
			small := c.index.has(indexKey(kindValue, o.ID)) && !drop[useKey{kindValue, o.ID}]
			ok = ok && (small || c.blobPresent(o.ID))
		}
		if !ok {
			drop[it.useKey] = true
		}
	}
}
