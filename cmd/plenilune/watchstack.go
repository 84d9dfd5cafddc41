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

// stackQuickly brings each clip that is at rest to a stack and shows it: the final one, which a run makes, where the cache has
// that, else a quick one. The manifest is left asking for these.
func (w *watcher) stackQuickly(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings) error {
	w.update(func(k *nightKnown) { k.stage = "stacking quickly" })
	tried := map[string]bool{}
	for _, b := range m.Blocks {
		for _, p := range b.Paths {
			tried[p] = true
		}
	}
	final, bad, err := w.finalStacks(ctx, m, set)
	if err != nil {
		return err
	}
	leaveOut(m, clipBlocks(m, set.Panels), bad.failed)
	letQuick(m, set, func(clip pipeline.ID) bool { return !final[clip] })
	now, seen, err := w.panelsOf(ctx, m, set, nil)
	if err != nil {
		return err
	}
	maps.Copy(seen.failed, bad.failed)
	w.update(func(k *nightKnown) {
		k.stacked, k.saturated, k.failed, k.tried, k.noFinal = now, seen.saturated, seen.failed, tried, nil
		k.stackSays = slices.Concat(bad.says, seen.says)
	})
	return nil
}

// finalStacks tells of which clips the cache has the final stacks, once all clips are graded, and what is wrong with some of these.
func (w *watcher) finalStacks(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings) (map[pipeline.ID]bool, *observed, error) {
	final, all := map[pipeline.ID]bool{}, newObserved()
	for _, ref := range set.Panels {
		wish := pipeline.Wish{Block: ref, Ports: watchedPorts, Begin: func(step string) bool { return step != stacks.Step().Name }}
		seen, err := w.obtain(ctx, m, wish, func(p pipeline.Product) { final[p.ID] = true })
		if err != nil {
			return nil, nil, err
		}
		all.says = append(all.says, seen.says...)
		maps.Copy(all.failed, seen.failed)
	}
	return final, all, nil
}

// leaveOut takes clips that failed out of their blocks, so that nothing of a round tries them again. Of masters nothing is left
// out: without it they would be others than a run's.
func leaveOut(m *pipeline.Manifest, blocks []*pipeline.Block, failed map[string]string) {
	names := m.FileNames()
	for _, b := range blocks {
		b.Paths = slices.DeleteFunc(b.Paths, func(p string) bool { _, bad := failed[names[p]]; return bad })
	}
}

// stackFinally makes the final stacks and shows each in place of the quick one, the newest clips first and few at a time, so that
// each is done before the next begins. Once something is waiting nothing more begins. The manifest is left asking for these.
func (w *watcher) stackFinally(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings, waiting func() bool) error {
	w.update(func(k *nightKnown) { k.stage = "stacking" })
	may := func(string) bool { return !waiting() }
	failed := map[pipeline.ID]bool{}
	for !waiting() {
		var quick []pipeline.ID
		for _, p := range slices.Backward(inOrder(w.stacked())) {
			if p.quick && !failed[p.clip] {
				quick = append(quick, p.clip)
			}
		}
		if len(quick) == 0 {
			break
		}
		next, later := quick[:min(len(quick), w.pace.processors())], map[pipeline.ID]bool{}
		for _, p := range w.stacked() {
			later[p.clip] = p.quick && !slices.Contains(next, p.clip)
		}
		letQuick(m, set, func(clip pipeline.ID) bool { return later[clip] })
		_, seen, err := w.panelsOf(ctx, m, set, may)
		if err != nil || waiting() {
			return err
		}
		for _, p := range w.stacked() {
			if p.quick && slices.Contains(next, p.clip) { // it goes by its quick stack, and is not tried again in this round
				failed[p.clip] = true
				w.update(func(k *nightKnown) { k.noFinal = with(k.noFinal, p.name, seen.failed[p.name]) })
			}
		}
	}
	letQuick(m, set, func(clip pipeline.ID) bool { return failed[clip] })
	return nil
}

// restOfStacks makes what a run makes of stacks besides, which no panel needs.
func (w *watcher) restOfStacks(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings, may func(string) bool) error {
	for _, ref := range set.Panels {
		if _, err := w.obtain(ctx, m, pipeline.Wish{Block: ref, Whole: true, Begin: may}, func(pipeline.Product) {}); err != nil {
			return err
		}
	}
	return nil
}

// with returns a map with one entry more; the map itself may be in use.
func with(m map[string]string, key, value string) map[string]string {
	if m = maps.Clone(m); m == nil {
		m = map[string]string{}
	}
	m[key] = value
	return m
}

// letQuick lets the stacks that a mosaic is joined from be quick ones, of some clips.
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

// panelsOf obtains the panels that a mosaic is joined from, of which what is not known yet may begin or not, and shows each as
// soon as it is there.
func (w *watcher) panelsOf(ctx context.Context, m *pipeline.Manifest, set *mosaic.Settings, may func(step string) bool) ([]*watchedPanel, *observed, error) {
	var now []*watchedPanel
	all := newObserved()
	for _, ref := range set.Panels {
		s := stackSettings(m, ref)
		seen, err := w.obtain(ctx, m, pipeline.Wish{Block: ref, Ports: watchedPorts, Begin: may}, func(p pipeline.Product) {
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

// stacked are the panels that are shown.
func (w *watcher) stacked() []*watchedPanel {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.known.stacked
}
