package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"

	"plenilune/cache"
)

// executor bounds how much runs at once, in workers and in bytes.
type executor struct {
	build   string
	fresh   bool
	begin   func(step string) bool // nil: every part may
	jobs    int
	memory  int64
	workers *semaphore.Weighted
	bytes   *semaphore.Weighted
	costs   Costs // nil: nothing is foretold
	rates   rates
	machine float64 // how much longer parts take now than by their rates

	early sync.Map // key → *node that ran to foretell the rest
}

func newExecutor(jobs int, memory int64) *executor {
	return &executor{jobs: jobs, memory: memory, machine: 1,
		workers: semaphore.NewWeighted(int64(jobs)), bytes: semaphore.NewWeighted(memory)}
}

// recall fills the node from the cache if its action is known there.
func (g *graph) recall(n *node) bool {
	if g.exec != nil && g.ranEarly(n) {
		return true
	}
	if g.exec != nil && g.exec.fresh {
		return false
	}
	e, ok := g.cache.Action(n.key)
	if !ok {
		return false
	}
	outs := map[string]ID{}
	for _, o := range e.Outputs {
		outs[o.Port] = o.ID
	}
	for _, p := range n.part.Out {
		if _, ok := outs[p]; !ok {
			return false
		}
	}
	if json.Unmarshal(e.Notes, &n.notes) != nil {
		return false
	}
	n.outs, n.state = outs, Cached
	return true
}

// ranEarly fills the node from one that ran, in this run, to foretell the rest.
func (g *graph) ranEarly(n *node) bool {
	v, ok := g.exec.early.Load(n.key)
	if !ok {
		return false
	}
	if !g.dry {
		g.exec.early.Delete(n.key)
	}
	was := v.(*node)
	n.outs, n.notes, n.seconds, n.busy, n.bytes, n.state = was.outs, was.notes, was.seconds, was.busy, was.bytes, Ran
	return true
}

// run executes a part within the bounds and stores what it made; ErrPending says that it must not begin.
func (e *executor) run(ctx context.Context, g *graph, n *node, ins []boundInput) error {
	need := min(max(n.part.Memory, 1), e.memory)
	if err := e.bytes.Acquire(ctx, need); err != nil {
		return err
	}
	defer e.bytes.Release(need)
	if err := e.workers.Acquire(ctx, 1); err != nil {
		return err
	}
	defer e.workers.Release(1)
	if e.begin != nil && !e.begin(n.step) {
		return ErrPending
	}

	n.mu.Lock()
	n.began = time.Now()
	n.mu.Unlock()
	var helped atomic.Int64
	each := func(ctx context.Context, m int, fn func(int) error) error { return e.spread(ctx, m, fn, &helped) }
	t := &Task{settings: n.part.Settings, ins: ins, store: cacheStore{g.cache}, each: each, outs: map[string]ID{},
		progress: func(done float64) {
			n.mu.Lock()
			n.progress = done
			n.mu.Unlock()
		}}
	err := protect(ctx, n.part.Run, t)
	for _, in := range ins {
		if in.src.file == nil {
			continue
		}
		if changed := in.src.file.unchanged(); changed != nil { // whatever came of it, it is not of what the key names
			return changed
		}
	}
	if err != nil {
		return err
	}
	n.seconds = time.Since(n.began).Seconds()
	n.busy = n.seconds + time.Duration(helped.Load()).Seconds()
	for _, id := range t.outs {
		n.bytes += g.cache.SizeOf(id)
	}
	n.outs, n.notes, n.state = t.outs, notes{t.facts, t.warns}, Ran
	return e.remember(g, n)
}

func (e *executor) remember(g *graph, n *node) error {
	entry := cache.Entry{Text: n.text, Build: e.build}
	for _, p := range n.part.Out {
		id, ok := n.outs[p]
		if !ok {
			return fmt.Errorf("part %s/%s made no output %q", n.step, n.part.Name, p)
		}
		entry.Outputs = append(entry.Outputs, cache.Output{Port: p, ID: id})
	}
	var err error
	if entry.Notes, err = json.Marshal(n.notes); err != nil {
		return fmt.Errorf("encode facts of %s/%s: %w", n.step, n.part.Name, err)
	}
	if _, err := g.cache.PutAction(entry); err != nil {
		return fmt.Errorf("keep the result of %s/%s: %w", n.step, n.part.Name, err)
	}
	return nil
}

// protect turns a panic of one part into its failure: the night goes on.
func protect(ctx context.Context, run func(context.Context, *Task) error, t *Task) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("defect in this program: %v\n%s", r, debug.Stack())
		}
	}()
	return run(ctx, t)
}

func (e *executor) each(ctx context.Context, n int, fn func(int) error) error {
	return e.spread(ctx, n, fn, new(atomic.Int64))
}

// spread spreads n calls over the caller and as many other workers as are idle,
// and adds to helped the nanoseconds that the others gave.
func (e *executor) spread(ctx context.Context, n int, fn func(int) error, helped *atomic.Int64) error {
	var mu sync.Mutex
	next := 0
	work := func(ctx context.Context) error {
		for {
			mu.Lock()
			i := next
			next++
			mu.Unlock()
			if i >= n {
				return nil
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := fn(i); err != nil {
				return err
			}
		}
	}
	eg, ctx := errgroup.WithContext(ctx)
	for range min(n, e.jobs) - 1 {
		if !e.workers.TryAcquire(1) {
			break
		}
		eg.Go(func() (err error) {
			defer e.workers.Release(1)
			defer func(began time.Time) { helped.Add(int64(time.Since(began))) }(time.Now())
			defer func() {
				if r := recover(); r != nil {
					err = fmt.Errorf("defect in this program: %v\n%s", r, debug.Stack())
				}
			}()
			return work(ctx)
		})
	}
	err := work(ctx)
	if werr := eg.Wait(); werr != nil && (err == nil || ctx.Err() != nil) {
		err = werr
	}
	return err
}

// cacheStore lets parts store values in the cache.
type cacheStore struct{ c *cache.Cache }

func (s cacheStore) Put(b []byte) (ID, error)  { return s.c.Put(b) }
func (s cacheStore) Get(id ID) ([]byte, error) { return s.c.Get(id) }
func (s cacheStore) Create(head []byte, words bool) (BlobWriter, error) {
	return s.c.Create(slices.Clone(head), words)
}
func (s cacheStore) Open(id ID) (BlobReader, error) { return s.c.OpenBlob(id) }
