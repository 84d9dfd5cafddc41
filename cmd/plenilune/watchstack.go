package main

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/mosaic"
	"plenilune/steps/stacks"
)

// stackQuickly brings each clip that is at rest to a stack and shows it: the one that a run makes, where the cache has that, else
// a quick one. The manifest is left asking for these.
func (w *watcher) stackQuickly(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings) error {
	w.update(func(k *nightKnown) { k.stage = "stacking quickly" })
	whole, err := w.wholeStacks(ctx, m, set)
	if err != nil {
		return err
	}
	letQuick(m, set, func(clip pipeline.ID) bool { return !whole[clip] })
	now, seen, err := w.panelsOf(ctx, m, set, pipeline.Wish{Ports: watchedPorts})
	if err != nil {
		return err
	}
	tried := map[string]bool{}
	for _, b := range m.Blocks {
		for _, p := range b.Paths {
			tried[p] = true
		}
	}
	w.update(func(k *nightKnown) {
		k.stacked, k.saturated, k.failed, k.stackSays, k.tried = now, seen.saturated, seen.failed, seen.says, tried
	})
	return nil
}

// stackWhole makes the stacks that a run makes and shows each in place of the quick one, until something is waiting: what has
// begun then is ended, and nothing more begins. The manifest is left asking for these.
func (w *watcher) stackWhole(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings, waiting func() bool) error {
	w.update(func(k *nightKnown) { k.stage = "stacking" })
	letQuick(m, set, nil)
	now, seen, err := w.panelsOf(ctx, m, set, pipeline.Wish{Ports: watchedPorts, Whole: true, Begin: func() bool { return !waiting() }})
	if err != nil || waiting() {
		return err
	}
	w.update(func(k *nightKnown) {
		k.stacked, k.saturated, k.failed, k.stackSays = now, seen.saturated, seen.failed, seen.says
	})
	return nil
}

// wholeStacks tells of which clips the cache has the stacks that a run makes.
func (w *watcher) wholeStacks(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings) (map[pipeline.ID]bool, error) {
	for _, b := range clipBlocks(m, set.Panels) { // stacks are cut once all clips are graded
		wish := pipeline.Wish{Block: pipeline.Ref{Kind: b.Kind, Name: b.Name}, Ports: []string{"frames"}}
		if _, err := w.obtain(ctx, m, wish, func(pipeline.Product) {}); err != nil {
			return nil, err
		}
	}
	whole := map[pipeline.ID]bool{}
	for _, ref := range set.Panels {
		wish := pipeline.Wish{Block: ref, Ports: watchedPorts, Begin: func() bool { return false }}
		if _, err := w.obtain(ctx, m, wish, func(p pipeline.Product) { whole[p.ID] = true }); err != nil {
			return nil, err
		}
	}
	return whole, nil
}

// letQuick lets the stacks that a mosaic is joined from be quick ones, of some clips; nil: of none.
func letQuick(m *pipeline.Manifest, set *mosaic.Settings, quick func(clip pipeline.ID) bool) {
	for _, ref := range set.Panels {
		if s := stackSettings(m, ref); s != nil {
			s.Quick = quick
		}
	}
}

// stackSettings are those of a block of stacks, nil if it is another one.
func stackSettings(m *pipeline.Manifest, ref pipeline.Ref) *stacks.Settings {
	if b := m.Block(ref); b != nil {
		for _, s := range b.Steps {
			if set, ok := s.Settings.(*stacks.Settings); ok {
				return set
			}
		}
	}
	return nil
}

// panelsOf obtains the panels that a mosaic is joined from, and shows each as soon as it is there.
func (w *watcher) panelsOf(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings, wish pipeline.Wish) ([]*watchedPanel, *observed, error) {
	var now []*watchedPanel
	all := newObserved()
	for _, ref := range set.Panels {
		s := stackSettings(m, ref)
		wish.Block = ref
		seen, err := w.obtain(ctx, m, wish, func(p pipeline.Product) {
			panel, err := w.panel(p, s != nil && s.Quick != nil && s.Quick(p.ID))
			if err != nil {
				all.says = append(all.says, saying{"failed", fmt.Sprintf("look at the stack of %s: %v", p.Name, err)})
				return
			}
			now = append(now, panel)
			w.update(func(k *nightKnown) {
				k.stacked = slices.DeleteFunc(slices.Clone(k.stacked), func(old *watchedPanel) bool { return old.id == panel.id })
				k.stacked = append(k.stacked, panel)
			})
		})
		if err != nil {
			return nil, nil, err
		}
		all.says = append(all.says, seen.says...)
		maps.Copy(all.failed, seen.failed)
		maps.Copy(all.saturated, seen.saturated)
	}
	return now, all, nil
}

// stackedSome tells whether there is a stack of some kind.
func (w *watcher) stackedSome(kind func(*watchedPanel) bool) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.ContainsFunc(w.known.stacked, kind)
}
