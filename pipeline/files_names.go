package pipeline

import (
	"cmp"
	"context"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// FileNames returns the short name of each file that the manifest's patterns found, by its path.
func (m *Manifest) FileNames() map[string]string {
	var all []string
	for _, b := range m.Blocks {
		all = append(all, b.Captures()...)
	}
	return shortNames(all)
}

// shortNames gives each path its shortest unique name: the base name without
// ending, with it, or with as many folders as it takes.
func shortNames(paths []string) map[string]string {
	paths = slices.Clone(paths)
	slices.Sort(paths)
	paths = slices.Compact(paths)
	out := map[string]string{}
	count := map[string]int{}
	for _, p := range paths {
		f := nameForms(p)
		slices.Sort(f)
		for _, name := range slices.Compact(f) {
			count[name]++
		}
	}
	for _, p := range paths {
		f := nameForms(p)
		k := slices.IndexFunc(f, func(s string) bool { return count[s] == 1 })
		out[p] = f[max(k, 0)]
	}
	return out
}

// nameForms are all names of a path, the shortest first.
func nameForms(p string) []string {
	base := filepath.Base(p)
	f := []string{strings.TrimSuffix(base, filepath.Ext(base)), base}
	for dir := filepath.Dir(p); ; dir = filepath.Dir(dir) {
		f = append(f, filepath.ToSlash(filepath.Join(filepath.Base(dir), f[len(f)-1])))
		if dir == filepath.Dir(dir) || dir == "." {
			return append(f, p)
		}
	}
}

// call gives a file's content its name.
func (s *fileSet) call(f *inputFile) {
	s.mu.Lock()
	defer s.mu.Unlock()
	// Two names for one content: the first in the alphabet speaks for both.
	name := s.names[f.path]
	if old, ok := s.labels[f.id]; !ok || cmp.Less(name, old) {
		s.labels[f.id], s.firsts[f.id] = name, f
	}
}

// settling is how names are found for a manifest that came in a pack: content decides which files are taken, so all are identified
// before any is named. Files that are not taken, such as those of an earlier run in its output folder, change no name.
type settling struct {
	mu     sync.Mutex
	done   bool
	blocks []*Block
}

// settle names the files that are taken, and no others.
func (s *fileSet) settle(ctx context.Context) error {
	w := s.settling
	if w == nil {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.done {
		return nil
	}
	var taken []*inputFile
	var paths []string
	for _, b := range w.blocks {
		files, _, err := s.identifyAll(ctx, b)
		if err != nil {
			return err
		}
		for _, f := range b.choice.take(files) {
			if f != nil {
				taken, paths = append(taken, f), append(paths, f.path)
			}
		}
	}
	s.mu.Lock()
	s.names, s.labels, s.firsts = shortNames(paths), map[ID]string{}, map[ID]*inputFile{}
	s.mu.Unlock()
	for _, f := range taken {
		s.call(f)
	}
	w.done = true
	return nil
}
