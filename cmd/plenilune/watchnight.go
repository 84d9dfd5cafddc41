package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/mosaic"
	"plenilune/steps/stacks"
)

// watcher keeps up with a night in progress: one goroutine looks at its files, another runs what is to be run of those
// that are whole, by the same parts as a run.
type watcher struct {
	file  string
	clips string // --clips
	set   []pipeline.Override
	opts  pipeline.Options
	open  func(context.Context) (*cache.Cache, error)
	cache *cache.Cache // of the round that is running
	pace  *pace
	board *board
	// every is how often files are looked at, and placeAfter how old a placing may grow while clips come one after the
	// other.
	every, placeAfter time.Duration

	land   *landing // of the goroutine that looks
	wake   chan struct{}
	newest atomic.Int64 // counts changes of the usable files
	placed time.Time    // when panels were placed last

	mu     sync.Mutex
	files  []landed // as they were seen last
	idle   context.CancelFunc
	known  nightKnown
	panels map[string]*watchedPanel // by content, all that were read
}

// nightKnown is what is known of the night so far.
type nightKnown struct {
	title     string
	names     map[string]string // of clips, by path
	region    bool              // only enclosed gaps are holes
	optics    opticsState
	stage     string
	stacked   []*watchedPanel
	saturated map[string]float64
	failed    map[string]string // by clip's name: why
	noFinal   map[string]string // the same, of those that have a quick stack and no other can be made
	stackSays []saying          // what the last round said, stacking
	placeSays []saying          // and placing
	fileSays  []saying
	tried     map[string]bool // paths of files that the last round stacked, or could not
	places    *placementsRow
	view      diskView
	north     *float64
}

// manifest reads the manifest anew, with the files that there are: what it names may still come.
func (w *watcher) manifest() (*pipeline.Manifest, error) {
	src, err := os.ReadFile(w.file)
	if err != nil {
		return nil, fmt.Errorf("read the manifest: %w", err)
	}
	m, diags := pipeline.LoadManifest(w.file, src, steps.All(), w.set)
	m.Programs = programs{}
	if diags.HasErrors() {
		return nil, fmt.Errorf("the manifest has faults now; plenilune check %s lists them", filepath.ToSlash(w.file))
	}
	_ = m.ResolveFiles(w.clips) // files that are not there yet are no fault here
	for _, b := range m.Blocks {
		b.Sequences = nil // when they are whole, nothing tells
	}
	return m, nil
}

// mosaicOf is the mosaic that is watched, the first one.
func mosaicOf(m *pipeline.Manifest) (*pipeline.Block, *mosaic.Settings) {
	for _, b := range m.Blocks {
		for _, s := range b.Steps {
			if set, ok := s.Settings.(*mosaic.Settings); ok {
				return b, set
			}
		}
	}
	return nil, nil
}

// clipBlocks are the blocks of clips that stacks are made of.
func clipBlocks(m *pipeline.Manifest, stackRefs []pipeline.Ref) []*pipeline.Block {
	var out []*pipeline.Block
	for _, r := range stackRefs {
		b := m.Block(r)
		if b == nil {
			continue
		}
		for _, s := range b.Steps {
			if set, ok := s.Settings.(*stacks.Settings); ok {
				if c := m.Block(set.Clips); c != nil && !slices.Contains(out, c) {
					out = append(out, c)
				}
			}
		}
	}
	return out
}

// run watches until ctx ends.
func (w *watcher) run(ctx context.Context) {
	var both sync.WaitGroup
	both.Go(func() { w.lookAtFiles(ctx) })
	both.Go(func() { w.work(ctx) })
	both.Wait()
}

// lookAtFiles looks at the night's files again and again.
func (w *watcher) lookAtFiles(ctx context.Context) {
	t := time.NewTicker(w.every)
	defer t.Stop()
	for {
		w.look(time.Now())
		select {
		case <-t.C:
		case <-ctx.Done():
			return
		}
	}
}

func (w *watcher) look(now time.Time) {
	m, err := w.manifest()
	if err != nil {
		w.update(func(k *nightKnown) { k.fileSays = []saying{{"manifest", err.Error()}} })
		return
	}
	_, set := mosaicOf(m)
	if set == nil {
		return
	}
	var paths []string
	var says []saying
	for _, b := range m.Blocks {
		paths = append(paths, b.Paths...)
		if len(b.SequencePatterns()) > 0 {
			says = append(says, saying{"sequences", fmt.Sprintf("%s %q: sequences of pictures, %s, are not followed while they are recorded; run takes them", b.Kind, b.Name, quotedList(b.SequencePatterns()))})
		}
		if len(b.Patterns()) > 0 && len(b.Paths) == 0 {
			says = append(says, saying{"no-file", fmt.Sprintf("%s %q: no file is there yet that matches %s", b.Kind, b.Name, quotedList(b.Patterns()))})
		}
	}
	changed := w.land.look(paths, now)
	recording := len(w.land.growing()) > 0
	w.pace.hold(recording)
	w.mu.Lock()
	w.files = w.files[:0]
	for _, f := range w.land.sorted() {
		w.files = append(w.files, *f)
		if f.verdict == landNoClip {
			says = append(says, saying{"no-clip", fmt.Sprintf("%s is no clip that can be read: %v", filepath.Base(f.path), f.err)})
		}
	}
	if (changed || recording) && w.idle != nil {
		w.idle() // what was begun for want of other work
	}
	w.mu.Unlock()
	if changed {
		w.newest.Add(1)
		select {
		case w.wake <- struct{}{}:
		default:
		}
	}
	w.update(func(k *nightKnown) {
		k.title, k.names, k.region, k.fileSays = m.Night.Title, map[string]string{}, set.Extent == "region", says
		k.optics = opticsOf(m.Night)
		names := m.FileNames()
		for _, b := range clipBlocks(m, set.Panels) {
			for _, p := range b.Paths {
				k.names[p] = names[p]
			}
		}
	})
}

// update changes what is known and shows it.
func (w *watcher) update(change func(*nightKnown)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change(&w.known)
	w.board.show(w.known.state(w.files, w.board.volume))
}

// work runs a round whenever files that take part changed.
func (w *watcher) work(ctx context.Context) {
	for {
		select {
		case <-w.wake:
		case <-ctx.Done():
			return
		}
		if err := w.roundWithCache(ctx); err != nil && ctx.Err() == nil {
			w.update(func(k *nightKnown) {
				k.stage = "at rest"
				k.placeSays = append(k.placeSays, saying{"failed", err.Error()})
			})
		}
	}
}

// roundWithCache runs a round, and lets go of the cache after it.
func (w *watcher) roundWithCache(ctx context.Context) (err error) {
	if w.cache, err = w.open(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.cache.Close()) }()
	return w.round(ctx)
}
