package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps/mosaic"
)

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

// round stacks the clips that are at rest, first quickly, to show and to place them, then, while nothing new comes, as a run does;
// and if there is nothing else to do, it joins them.
func (w *watcher) round(ctx context.Context) error {
	m, mark, err := w.usableNow()
	if err != nil {
		return err
	}
	b, set := mosaicOf(m)
	if set == nil {
		return errors.New("the manifest has no mosaic block")
	}
	waiting := func() bool { return w.newest.Load() != mark }
	ref := pipeline.Ref{Kind: b.Kind, Name: b.Name}
	if err := w.stackQuickly(ctx, m, set); err != nil {
		return err
	}
	if waiting() && time.Since(w.placed) < w.placeAfter {
		return nil // the next round follows at once
	}
	if len(w.stacked()) == 0 {
		w.update(func(k *nightKnown) { k.stage = "at rest" })
		return nil
	}
	if err := w.place(ctx, m, ref); err != nil {
		return err
	}
	if slices.ContainsFunc(w.stacked(), isQuick) {
		if err := w.stackFinally(ctx, m, set, waiting); err != nil || waiting() {
			return err
		}
		if err := w.place(ctx, m, ref); err != nil {
			return err
		}
	}
	if err := w.restOfStacks(ctx, m, set, func(string) bool { return !waiting() }); err != nil {
		return err
	}
	if !waiting() && !w.pace.recording.Load() {
		return w.join(ctx, m, ref, waiting)
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

func newObserved() *observed {
	return &observed{failed: map[string]string{}, saturated: map[string]float64{}}
}

func (o *observed) hear(e pipeline.Event) {
	switch {
	case e.Warning != nil && e.Warning.Code != mosaic.HoleCode: // a watch tells holes as they are now
		o.says = append(o.says, saying{e.Warning.Code, e.Warning.Text})
	case e.Step != nil && e.Step.State == pipeline.Failed:
		o.says = append(o.says, saying{"failed", fmt.Sprintf("%s: %v", e.Step.Step, e.Step.Err)})
		if e.Step.Clip != "" {
			o.failed[e.Step.Clip] = e.Step.Err.Error()
		}
	case e.Step != nil && (e.Step.Part == "index" || e.Step.Part == "index-laid"):
		for _, f := range e.Step.Facts {
			if f.Name == "saturated" {
				o.saturated[e.Step.Item.String()] = f.Value
			}
		}
	}
}

func (w *watcher) obtain(ctx context.Context, m *pipeline.Manifest, wish pipeline.Wish, found func(pipeline.Product)) (*observed, error) {
	seen := newObserved()
	o := w.opts
	o.Observer = seen.hear
	wish.Through = w.pace.through
	_, err := pipeline.Obtain(ctx, m, w.cache, o, wish, found)
	if errors.Is(err, pipeline.ErrIncomplete) {
		err = nil // told by what was seen
	}
	return seen, err
}

// panel reads a stack, final or quick, once.
func (w *watcher) panel(p pipeline.Product, quick bool) (*watchedPanel, error) {
	if old := w.panels[p.ID.String()]; old != nil && old.name == p.Name && old.quick == quick && old.source == p.Source("image").ID() {
		return old, nil
	}
	panel, err := readPanel(p)
	if err != nil {
		return nil, err
	}
	panel.quick = quick
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
	w.update(func(k *nightKnown) { k.places, k.placeSays, k.view, k.north = places, seen.says, view, nil })
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
