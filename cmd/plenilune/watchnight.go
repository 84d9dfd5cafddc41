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
	cache *cache.Cache
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
	stackSays []saying          // what the last round said, stacking
	placeSays []saying          // and placing
	fileSays  []saying
	settled   bool // all usable clips were tried
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
	if diags.HasErrors() {
		return nil, fmt.Errorf("the manifest has faults now; plenilune check %s lists them", filepath.ToSlash(w.file))
	}
	_ = m.ResolveFiles(w.clips) // files that are not there yet are no fault here
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
		if b.HasFiles() && len(b.Paths) == 0 {
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
		if changed {
			k.settled = false
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
		if err := w.round(ctx); err != nil && ctx.Err() == nil {
			w.update(func(k *nightKnown) {
				k.stage = "at rest"
				k.placeSays = append(k.placeSays, saying{"failed", err.Error()})
			})
		}
	}
}

// usableNow is the manifest without the files that do not take part yet, and a mark that tells whether that changed.
func (w *watcher) usableNow() (*pipeline.Manifest, int64, error) {
	mark := w.newest.Load()
	m, err := w.manifest()
	if err != nil {
		return nil, 0, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	usable := map[string]bool{}
	for _, f := range w.files {
		usable[f.path] = f.usable()
	}
	for _, b := range m.Blocks {
		b.Paths = slices.DeleteFunc(b.Paths, func(p string) bool { return !usable[p] })
	}
	return m, mark, nil
}

// round stacks the clips that are whole, places them, and, if there is nothing else to do, joins them.
func (w *watcher) round(ctx context.Context) error {
	m, mark, err := w.usableNow()
	if err != nil {
		return err
	}
	b, set := mosaicOf(m)
	if set == nil {
		return errors.New("the manifest has no mosaic block")
	}
	if err := w.stackAll(ctx, m, set); err != nil {
		return err
	}
	waiting := func() bool { return w.newest.Load() != mark }
	if waiting() && time.Since(w.placed) < w.placeAfter {
		return nil // the next round follows at once
	}
	w.mu.Lock()
	none := len(w.known.stacked) == 0
	w.mu.Unlock()
	if !none {
		if err := w.place(ctx, m, pipeline.Ref{Kind: b.Kind, Name: b.Name}); err != nil {
			return err
		}
	}
	if !none && !waiting() && !w.pace.recording.Load() {
		return w.join(ctx, m, pipeline.Ref{Kind: b.Kind, Name: b.Name}, waiting)
	}
	w.update(func(k *nightKnown) { k.stage = "at rest" })
	return nil
}

// observed collects what a round's parts say.
type observed struct {
	says      []saying
	failed    map[string]string
	saturated map[string]float64
}

func (o *observed) hear(e pipeline.Event) {
	switch {
	case e.Warning != nil:
		o.says = append(o.says, saying{e.Warning.Code, e.Warning.Text})
	case e.Step != nil && e.Step.State == pipeline.Failed:
		o.says = append(o.says, saying{"failed", fmt.Sprintf("%s: %v", e.Step.Step, e.Step.Err)})
		if e.Step.Clip != "" {
			o.failed[e.Step.Clip] = e.Step.Err.Error()
		}
	case e.Step != nil && e.Step.Part == "index":
		for _, f := range e.Step.Facts {
			if f.Name == "saturated" {
				o.saturated[e.Step.Item.String()] = f.Value
			}
		}
	}
}

func (w *watcher) obtain(ctx context.Context, m *pipeline.Manifest, wish pipeline.Wish, found func(pipeline.Product)) (*observed, error) {
	seen := &observed{failed: map[string]string{}, saturated: map[string]float64{}}
	o := w.opts
	o.Observer = seen.hear
	wish.Through = w.pace.through
	_, err := pipeline.Obtain(ctx, m, w.cache, o, wish, found)
	if errors.Is(err, pipeline.ErrIncomplete) {
		err = nil // told by what was seen
	}
	return seen, err
}

// stackAll brings every clip that is whole to its stack, and shows each as soon as it is there.
func (w *watcher) stackAll(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings) error {
	w.update(func(k *nightKnown) { k.stage = "stacking" })
	var now []*watchedPanel
	all := &observed{failed: map[string]string{}, saturated: map[string]float64{}}
	for _, ref := range set.Panels {
		seen, err := w.obtain(ctx, m, pipeline.Wish{Block: ref, Ports: watchedPorts, Whole: true}, func(p pipeline.Product) {
			panel, err := w.panel(p)
			if err != nil {
				all.says = append(all.says, saying{"failed", fmt.Sprintf("look at the stack of %s: %v", p.Name, err)})
				return
			}
			now = append(now, panel)
			w.update(func(k *nightKnown) {
				if !slices.Contains(k.stacked, panel) {
					k.stacked = append(k.stacked, panel)
				}
			})
		})
		if err != nil {
			return err
		}
		all.says = append(all.says, seen.says...)
		for name, why := range seen.failed {
			all.failed[name] = why
		}
		for id, pct := range seen.saturated {
			all.saturated[id] = pct
		}
	}
	w.update(func(k *nightKnown) {
		k.stacked, k.saturated, k.failed, k.stackSays, k.settled = now, all.saturated, all.failed, all.says, true
	})
	return nil
}

// panel reads a stack, once.
func (w *watcher) panel(p pipeline.Product) (*watchedPanel, error) {
	if old := w.panels[p.ID.String()]; old != nil && old.name == p.Name && old.source == p.Source("image").ID() {
		return old, nil
	}
	panel, err := readPanel(p)
	if err != nil {
		return nil, err
	}
	img, err := drawPanel(panel)
	if err != nil {
		return nil, err
	}
	panel.picture = w.board.keep(panelPicture, panel.source.Short(), img)
	w.panels[panel.id] = panel
	return panel, nil
}

// place finds where the panels lie and draws the disk so far.
func (w *watcher) place(ctx context.Context, m *pipeline.Manifest, ref pipeline.Ref) error {
	w.update(func(k *nightKnown) { k.stage = "placing" })
	var places *placementsRow
	var bad error
	seen, err := w.obtain(ctx, m, pipeline.Wish{Block: ref, Ports: []string{"placements"}}, func(p pipeline.Product) {
		var row placementsRow
		if bad = p.Source("placements").Table(&row); bad == nil {
			places = &row
		}
	})
	if err = errors.Join(err, bad); err != nil {
		return err
	}
	view, err := w.view(places)
	if err != nil {
		return err
	}
	w.placed = time.Now()
	w.update(func(k *nightKnown) { k.places, k.placeSays, k.view = places, seen.says, view })
	return nil
}

// view draws the disk and says what is missing of it.
func (w *watcher) view(places *placementsRow) (diskView, error) {
	w.mu.Lock()
	panels, region := charted(places, inOrder(w.known.stacked)), w.known.region
	w.mu.Unlock()
	if len(panels) == 0 {
		return diskView{}, nil
	}
	v := viewDisk(places, panels, region)
	jpg, err := drawDisk(v.disk.Box, panels)
	if err != nil {
		return v, err
	}
	id := cache.Sum(jpg)
	v.disk.Picture = w.board.keep(diskPicture, id.Short(), jpg)
	return v, nil
}

// join joins the panels and finds how the Moon lies in the picture, unless another clip comes.
func (w *watcher) join(ctx context.Context, m *pipeline.Manifest, ref pipeline.Ref, waiting func() bool) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	w.mu.Lock()
	w.idle = cancel
	w.mu.Unlock()
	if waiting() {
		return nil
	}
	w.update(func(k *nightKnown) { k.stage = "joining" })
	var north *float64
	_, err := w.obtain(ctx, m, pipeline.Wish{Block: ref, Ports: []string{"orientation"}, Whole: true}, func(p pipeline.Product) {
		var o struct {
			Known    bool    `json:"known"`
			NorthDeg float64 `json:"north_deg"`
		}
		if p.Source("orientation").Table(&o) == nil && o.Known {
			north = &o.NorthDeg
		}
	})
	off := ctx.Err() != nil
	w.update(func(k *nightKnown) {
		k.stage = "at rest"
		if err == nil && !off {
			k.north = north
		}
	})
	if off {
		return nil
	}
	return err
}
