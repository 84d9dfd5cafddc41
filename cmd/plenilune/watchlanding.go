package main

import (
	"os"
	"slices"
	"time"

	"plenilune/steps/captures"
)

// landing tells which of a night's files are whole. Files are looked at by their size alone while they grow: no system
// tells when a recorder is done with one, and over a network none tells that anything changed.
type landing struct {
	steady   time.Duration // how long a file whose header fits its length has kept its size before it counts as whole
	patience time.Duration // how long any other has before it is taken as it is
	probe    func(path string) (captures.Index, error)
	files    map[string]*landed
	began    bool
}

// verdict says what a file is.
type verdict string

const (
	landGrowing verdict = "growing" // or it only just came to rest
	landWaiting verdict = "waiting" // at rest, but its header does not fit its length: its recorder may not be done
	landWhole   verdict = "whole"
	landShort   verdict = "short" // at rest for long, and never finished: used up to the cut
	landNoClip  verdict = "none"  // at rest for long, and no clip
)

// landed is one file as it was seen last.
type landed struct {
	path    string
	size    int64
	mod     time.Time
	since   time.Time // when it was first seen like this
	verdict verdict
	looked  bool // into its header, as it is
	index   captures.Index
	err     error // why it is no clip
}

// usable tells whether a file takes part.
func (f *landed) usable() bool { return f.verdict == landWhole || f.verdict == landShort }

func newLanding() *landing {
	return &landing{steady: 3 * time.Second, patience: time.Minute, probe: probe, files: map[string]*landed{}}
}

// look looks at files anew and tells whether those that take part changed.
func (l *landing) look(paths []string, now time.Time) (changed bool) {
	for path, f := range l.files {
		if !slices.Contains(paths, path) {
			changed = changed || f.usable()
			delete(l.files, path)
		}
	}
	for _, path := range paths {
		st, err := os.Stat(path)
		if err != nil {
			continue // it will be gone from the list next time, or be there again
		}
		f := l.files[path]
		if f == nil {
			f = &landed{path: path, size: st.Size(), mod: st.ModTime(), since: now, verdict: landGrowing}
			if !l.began && st.ModTime().Before(now) { // what lay there before lay still
				f.since = st.ModTime()
			}
			l.files[path] = f
		} else if f.size != st.Size() || !f.mod.Equal(st.ModTime()) {
			changed = changed || f.usable()
			*f = landed{path: path, size: st.Size(), mod: st.ModTime(), since: now, verdict: landGrowing}
		}
		changed = l.judge(f, now) || changed
	}
	l.began = true
	return changed
}

// judge decides about a file at rest, and tells whether it now takes part.
func (l *landing) judge(f *landed, now time.Time) bool {
	rest := now.Sub(f.since)
	if f.verdict != landGrowing && f.verdict != landWaiting || rest < l.steady {
		return false
	}
	if !f.looked {
		f.index, f.err = l.probe(f.path)
		f.looked = true
	}
	x := f.index
	switch {
	case f.err == nil && x.Declared > 0 && !x.CutShort:
		f.verdict = landWhole
	case rest < l.patience:
		f.verdict = landWaiting
	case f.err != nil || x.Empty:
		f.verdict = landNoClip
	default:
		f.verdict = landShort
	}
	return f.usable()
}

// growing lists the files that somebody may still be writing, in order.
func (l *landing) growing() []*landed {
	var out []*landed
	for _, f := range l.sorted() {
		if f.verdict == landGrowing || f.verdict == landWaiting {
			out = append(out, f)
		}
	}
	return out
}

// sorted lists all files by path.
func (l *landing) sorted() []*landed {
	var out []*landed
	for _, f := range l.files {
		out = append(out, f)
	}
	slices.SortFunc(out, func(a, b *landed) int {
		if a.path < b.path {
			return -1
		}
		return 1
	})
	return out
}

// clipsAhead is how many more files like those that are whole a disk has room for, and their mean size; −1 if that cannot
// be known.
func clipsAhead(files []*landed, free int64) (clips int, mean int64) {
	var all, n int64
	for _, f := range files {
		if f.usable() {
			all, n = all+f.size, n+1
		}
	}
	if n == 0 || all == 0 {
		return -1, 0
	}
	mean = all / n
	for _, f := range files { // what is being written takes its room first
		if f.verdict == landGrowing {
			free -= max(0, mean-f.size)
		}
	}
	return int(max(0, free) / mean), mean
}
