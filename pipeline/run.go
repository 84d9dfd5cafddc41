package pipeline

import (
	"context"
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"plenilune/cache"
)

// Options say how to run a manifest, never what comes out.
type Options struct {
	OutDir   string
	Jobs     int      // workers; at least 1
	Memory   int64    // bytes that parts may hold together
	Only     []string // blocks ("stack.panels") or files of a publish block; empty is everything
	Fresh    bool     // look nothing up in the cache
	Rehash   bool     // distrust remembered stamps
	Build    string   // which program, for the cache's information
	Observer func(Event)

	// Costs, if not nil, lets the run foretell what it will do and the time left.
	Costs Costs
	// Expect, if not nil, hears the forecast before anything is computed. An error
	// stops the run and is returned.
	Expect func(Forecast) error

	verify *verifier // compare with what stands in OutDir, deliver nothing
}

// Summary counts what a run did.
type Summary struct {
	Ran, Cached, Failed, Skipped int
	Delivered                    int
	Seconds                      float64
}

// ErrIncomplete says that a run ended with something failed; the observer heard what.
var ErrIncomplete = errors.New("the work failed in part")

// mostRounds bounds how often a run begins again over damage that it met: each time less of it is left.
const mostRounds = 6

// Run brings every wanted part to its end and delivers the files.
func Run(ctx context.Context, m *Manifest, c *cache.Cache, o Options) (Summary, error) {
	began := time.Now()
	wanted, err := selection(m, o.Only)
	if err != nil {
		return Summary{}, err
	}
	exec := newExecutor(max(o.Jobs, 1), max(o.Memory, 1))
	exec.build, exec.fresh = o.Build, o.Fresh
	exec.costs = o.Costs
	files := newFileSet(m, c, o.Rehash)
	var sum Summary
	var foreseen *forecast
	if o.Costs != nil {
		exec.rates = loadRates(c)
		g := newGraph(m, c)
		g.exec, g.wanted, g.files = exec, wanted, files
		if foreseen, err = g.lookAhead(ctx, o); err != nil {
			sum.Seconds = time.Since(began).Seconds()
			return sum, err
		}
	}
	// A value found damaged is dropped from the cache; the next round makes it anew.
	for round := 0; ; round++ {
		g := newGraph(m, c)
		g.exec, g.wanted, g.files, g.foreseen = exec, wanted, files, foreseen
		if foreseen != nil {
			g.sizes = foreseen.sizes
		}
		sum, err = g.runOnce(ctx, o)
		if ctx.Err() != nil || round == mostRounds || !errors.Is(err, cache.ErrDamaged) && !g.metDamage() {
			sum.Seconds = time.Since(began).Seconds()
			if ctx.Err() == nil && len(o.Only) == 0 {
				if e := g.saveRun(o.OutDir); !noneFits(e) { // for why alone: a full disk is told where it matters
					err = errors.Join(err, e)
				}
			}
			if ctx.Err() == nil {
				_ = g.saveRates(o.OutDir) // only an estimate hangs on it
			}
			return sum, err
		}
		if err := c.Mend(ctx); err != nil {
			return sum, err
		}
		exec.fresh = false
		exec.early.Clear()
		files = newFileSet(m, c, false)
	}
}

// lookAhead foretells what a run will do, says how far it is with reading clips,
// and asks whether to go on.
func (g *graph) lookAhead(ctx context.Context, o Options) (*forecast, error) {
	var read atomic.Int64
	g.files.onRead = func(_ string, n int64) { read.Add(n) }
	stop := func() {}
	if all := g.files.toRead(g.man); all > 0 && o.Observer != nil {
		stop = every(func() {
			o.Observer(Event{Progress: &ProgressEvent{SecondsLeft: -1, Read: min(read.Load(), all), ToRead: all}})
		})
	}
	f, err := foresee(ctx, g, o)
	stop()
	if err == nil && o.Expect != nil {
		err = o.Expect(f.Forecast)
	}
	return f, err
}

func (g *graph) runOnce(ctx context.Context, o Options) (Summary, error) {
	var sum Summary
	g.observe(&sum, o.Observer)
	stop := g.tick(o)
	g.expandAll(ctx)
	g.working.Wait()
	if w, ok := g.files.dated(); ok {
		g.warn(w)
	}
	deliver := g.deliverAll
	if o.verify != nil {
		deliver = func(ctx context.Context, dir string) error { return o.verify.proveAll(ctx, g, dir) }
	}
	derr := errors.Join(deliver(ctx, o.OutDir), g.unmatched(o.Only))
	stop()
	if ctx.Err() != nil {
		return sum, ctx.Err()
	}
	return sum, errors.Join(g.failure(sum), derr)
}

// observe counts what happens and passes it on, one thing at a time.
func (g *graph) observe(sum *Summary, pass func(Event)) {
	var mu sync.Mutex
	g.obs = func(e Event) {
		mu.Lock()
		defer mu.Unlock()
		switch {
		case e.Step != nil:
			sum.count(e.Step.State)
		case e.Delivered != nil:
			sum.Delivered++
		}
		if pass != nil {
			pass(e)
		}
	}
}

func (s *Summary) count(st State) {
	switch st {
	case Ran:
		s.Ran++
	case Cached:
		s.Cached++
	case Failed:
		s.Failed++
	case Skipped:
		s.Skipped++
	}
}

// tick reports progress until the returned function is called.
func (g *graph) tick(o Options) (stop func()) {
	if o.Observer == nil {
		return func() {}
	}
	return every(func() {
		p := g.progressNow()
		g.obs(Event{Progress: &p})
	})
}

// every calls fn now and then until the returned function is called.
func every(fn func()) (stop func()) {
	quit := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		t := time.NewTicker(200 * time.Millisecond)
		defer t.Stop()
		for {
			select {
			case <-quit:
				return
			case <-t.C:
				fn()
			}
		}
	})
	return func() { close(quit); wg.Wait() }
}

// failure joins what kept blocks from being expanded with the count of failed parts.
func (g *graph) failure(sum Summary) error {
	var errs []error
	for _, b := range g.man.Blocks {
		err := g.blocks[Ref{b.Kind, b.Name}].err
		if err != nil && !errors.Is(err, ErrPending) && !errors.Is(err, errUpstream) {
			errs = append(errs, err)
		}
	}
	if sum.Failed > 0 && len(errs) == 0 {
		errs = append(errs, fmt.Errorf("%w: %d failed", ErrIncomplete, sum.Failed))
	}
	return errors.Join(errs...)
}

func (g *graph) metDamage() bool {
	for _, n := range g.nodes {
		if errors.Is(n.err, cache.ErrDamaged) {
			return true
		}
	}
	for _, b := range g.blocks {
		if errors.Is(b.err, cache.ErrDamaged) {
			return true
		}
	}
	return false
}

// selection turns names into a test of what is wanted. The test is asked of a
// block ("" for file), of all of a block's parts ("*"), or of a delivered file.
func selection(m *Manifest, only []string) (func(Ref, string) bool, error) {
	if len(only) == 0 {
		return nil, nil
	}
	needed, whole, files := map[Ref]bool{}, map[Ref]bool{}, map[string]bool{}
	byRef := map[Ref]*Block{}
	for _, b := range m.Blocks {
		byRef[Ref{b.Kind, b.Name}] = b
	}
	var need func(r Ref)
	need = func(r Ref) {
		if b := byRef[r]; b != nil && !needed[r] {
			needed[r] = true
			for _, up := range b.Refs {
				need(up)
			}
		}
	}
	for _, name := range only {
		kind, label, ok := strings.Cut(name, ".")
		if r := (Ref{kind, label}); ok && byRef[r] != nil {
			whole[r] = true
			need(r)
			continue
		}
		// A file: which block delivers it is known once blocks are expanded.
		if ok && !m.mentions(name) && slices.ContainsFunc(m.Blocks, func(b *Block) bool { return b.Kind == kind }) {
			return nil, &RequestError{fmt.Sprintf("--only %s: the manifest has no block %s %q", name, kind, label)}
		}
		files[path.Clean(filepath.ToSlash(name))] = true
		for _, b := range m.Blocks {
			need(Ref{b.Kind, b.Name})
		}
	}
	return func(r Ref, file string) bool {
		switch file {
		case "":
			return needed[r]
		case "*":
			return whole[r]
		}
		return whole[r] || files[file]
	}, nil
}

// unmatched names what --only asked for and no block delivers.
func (g *graph) unmatched(only []string) error {
	var errs []error
	for _, name := range only {
		kind, label, _ := strings.Cut(name, ".")
		if g.man.Block(Ref{kind, label}) != nil {
			continue
		}
		found := false
		for _, d := range g.deliveries {
			found = found || d.File == path.Clean(filepath.ToSlash(name))
		}
		if !found {
			errs = append(errs, &RequestError{fmt.Sprintf("--only %s: the manifest has no such block (as in stack.panels) and delivers no such file", name)})
		}
	}
	return errors.Join(errs...)
}

// RequestError says that what was asked for makes no sense: exit code 2.
type RequestError struct{ Text string }

func (e *RequestError) Error() string { return e.Text }
