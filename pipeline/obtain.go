package pipeline

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"plenilune/cache"
)

// Wish is what Obtain is to bring forth of a block.
type Wish struct {
	Block Ref
	Ports []string // values of each of the block's products, as far as they have them
	Whole bool     // also run the block's parts that no product needs
	// Through, if not nil, is what every reading of a capture goes through.
	Through func(io.ReaderAt) io.ReaderAt
	// Begin, if not nil, is asked before each part that the cache does not hold, by its step's name, whether it may begin. What
	// would need one that may not is left out: it did not fail, and the observer hears nothing of it.
	Begin func(step string) bool
}

// Product is one thing that a block brought forth: a panel, a disk.
type Product struct {
	ID   ID     // content id of the capture that it stems from; zero for a whole block
	Name string // that capture's short name
	c    *cache.Cache
	outs map[string]ID
	item Item
}

// Has tells whether the product has a value on a port wished for.
func (p Product) Has(port string) bool {
	_, ok := p.outs[port]
	return ok
}

// Record returns the record of how the value on a port wished for was made.
func (p Product) Record(port string) ([]byte, error) {
	r, err := recordOf(p.c, p.item.Values[port])
	if err != nil {
		return nil, err
	}
	return r.encode()
}

// Source returns the value on one of the ports wished for.
func (p Product) Source(port string) Source {
	id, ok := p.outs[port]
	if !ok {
		panic("pipeline: no value was wished for on port " + port)
	}
	return Source{id: id, store: cacheStore{p.c}}
}

// Obtain runs what it takes to have what is wished for, as Run would, and delivers nothing. found hears of each product,
// one at a time, as soon as its values are there. Products of which one failed are left out: the observer hears why, and
// the error matches ErrIncomplete.
func Obtain(ctx context.Context, m *Manifest, c *cache.Cache, o Options, w Wish, found func(Product)) (Summary, error) {
	began := time.Now()
	var sum Summary
	wanted, err := selection(m, []string{w.Block.String()})
	if err != nil {
		return sum, err
	}
	g := newGraph(m, c)
	g.exec = newExecutor(max(o.Jobs, 1), max(o.Memory, 1))
	g.exec.build, g.exec.fresh, g.exec.begin = o.Build, o.Fresh, w.Begin
	g.files = newFileSet(m, c, o.Rehash)
	if w.Through != nil {
		g.files.through = w.Through
	}
	g.wanted = func(r Ref, file string) bool { return wanted(r, file) && (file == "" || file == "*" && w.Whole) }
	g.observe(&sum, o.Observer)
	g.expandAll(ctx)
	g.collect(ctx, w, found)
	g.working.Wait()
	sum.Seconds = time.Since(began).Seconds()
	if ctx.Err() != nil {
		return sum, ctx.Err()
	}
	return sum, g.failure(sum)
}

// collect waits for the products of a block.
func (g *graph) collect(ctx context.Context, w Wish, found func(Product)) {
	b := g.blocks[w.Block]
	select {
	case <-b.expanded:
	case <-ctx.Done():
		return
	}
	var mu sync.Mutex
	var all sync.WaitGroup
	for _, it := range b.items {
		all.Go(func() {
			p := Product{ID: it.ID, Name: g.files.label(it.ID), c: g.cache, outs: map[string]ID{}, item: it}
			var errs []error
			for _, port := range w.Ports {
				if v := it.Values[port]; v.node != nil { // asked for side by side
					g.demand(ctx, v.node)
				}
			}
			for _, port := range w.Ports {
				if it.Values[port].IsZero() {
					continue
				}
				id, err := g.await(ctx, it.Values[port])
				p.outs[port] = id
				errs = append(errs, err)
			}
			if errors.Join(errs...) == nil {
				mu.Lock()
				defer mu.Unlock()
				found(p)
			}
		})
	}
	all.Wait()
}
