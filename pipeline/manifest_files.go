package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/zclconf/go-cty/cty"
)

// ResolveFiles expands every block's file patterns into Block.Paths: relative to
// the manifest's folder, or, when clipsDir is not empty, by their last elements
// anywhere under clipsDir. A pattern is matched element by element as by
// path/filepath.Match, and ** stands for any number of folders. Faults are told
// at the pattern. A manifest that came in a pack finds its files as home says. Of a
// manifest with faults it tells what these do not hide, and a block of whose files
// some are hidden gets none.
func (m *Manifest) ResolveFiles(clipsDir string) Diagnostics {
	var d Diagnostics
	d.addSource(m.File, withoutMark(m.Source))
	m.looked = 0
	h, err := m.atHome(clipsDir)
	if err != nil {
		d.fault(Range{File: m.File}, "the pack that this manifest came in cannot be read: "+err.Error(), "unpack it again")
		return d
	}
	for _, b := range m.Blocks {
		switch {
		case h != nil && b.hasFiles:
			h.resolve(m, &d, b, clipsDir)
		default:
			m.resolveBlock(&d, b, clipsDir)
		}
	}
	for _, b := range m.Blocks {
		m.resolveClips(&d, b, h)
	}
	for _, b := range m.Blocks {
		if b.partly {
			b.Paths, b.Sequences = nil, nil
		}
	}
	d.sort()
	return d
}

func (m *Manifest) resolveBlock(d *Diagnostics, b *Block, clipsDir string) {
	if !b.hasFiles {
		return
	}
	out := m.exceptions(b, clipsDir)
	seen := map[string]bool{}
	var empty []filePattern
	for _, p := range b.patterns {
		if p.except || p.sequence {
			continue
		}
		found, err := m.expand(p.text, clipsDir)
		if err != nil {
			d.fault(p.at, err.Error(), "write / between folders, * for any letters, ** for any folders below")
			continue
		}
		n := 0
		for _, path := range found {
			n++ // what is left out was matched all the same
			if !seen[path] && !out.leave(path) {
				seen[path] = true
				b.Paths = append(b.Paths, path)
			}
		}
		if n == 0 {
			empty = append(empty, p)
		}
	}
	slices.Sort(b.Paths)
	empty = append(empty, m.resolveSequences(d, b, out, clipsDir)...)
	for _, p := range empty {
		base := m.Dir
		if clipsDir != "" {
			base = clipsDir
		}
		text := fmt.Sprintf("no file matches %q", p.text)
		if p.sequence {
			text = fmt.Sprintf("no picture matches %q", p.text)
		}
		hint := "patterns start from " + filepath.ToSlash(base)
		at := filepath.FromSlash(p.text)
		if !filepath.IsAbs(at) {
			at = filepath.Join(base, at)
		}
		if st, err := os.Stat(at); err == nil && !st.Mode().IsRegular() && !p.sequence {
			text, hint = fmt.Sprintf("%q is no plain file", p.text), "a folder's files are named by a pattern, as in \"clips/*.ser\"; devices and pipes are not read"
		}
		if len(b.Captures()) == 0 {
			d.fault(p.at, text, hint)
		} else {
			d.warn(p.at, text, hint)
		}
	}
}

// expand lists the regular files that a pattern matches.
func (m *Manifest) expand(pattern, clipsDir string) ([]string, error) {
	base := m.Dir
	parts := strings.Split(filepath.ToSlash(pattern), "/")
	if clipsDir != "" {
		abs, err := filepath.Abs(clipsDir)
		if err != nil {
			return nil, fmt.Errorf("find %s: %w", clipsDir, err)
		}
		base, parts = abs, append([]string{"**"}, tail(parts)...)
	} else if filepath.IsAbs(pattern) {
		vol := filepath.VolumeName(pattern)
		base = vol + string(filepath.Separator)
		parts = strings.Split(strings.TrimPrefix(filepath.ToSlash(pattern[len(vol):]), "/"), "/")
	}
	for _, p := range parts {
		if _, err := filepath.Match(p, ""); err != nil {
			return nil, fmt.Errorf("%q is no file pattern", pattern)
		}
	}
	w := patternWalk{looked: &m.looked}
	err := w.walk(base, slices.CompactFunc(parts, func(a, b string) bool { return a == "**" && b == "**" }))
	return w.found, err
}

// maxLooked bounds how many names a manifest's patterns may make us look at, the same ones again included.
const maxLooked = 200_000

// patternWalk gathers the files that a pattern matches.
type patternWalk struct {
	found  []string
	looked *int
}

// look counts what is looked at.
func (w *patternWalk) look(dir string, n int) error {
	if *w.looked += n * (1 + len(dir)/100); *w.looked > maxLooked { // a long path takes the system longer

		return fmt.Errorf("up to this pattern more than %d files and folders were looked at; it was at %s", maxLooked, filepath.ToSlash(dir))
	}
	return nil
}

// tail is what of a pattern counts under --clips: its file name, with the folder
// it stands in when that is a plain name.
func tail(parts []string) []string {
	n := len(parts)
	if n >= 2 && parts[n-2] != ".." && parts[n-2] != "." && parts[n-2] != "" && parts[n-2] != "**" {
		return parts[n-2:]
	}
	return parts[n-1:]
}

func (w *patternWalk) walk(dir string, parts []string) error {
	if err := w.look(dir, 1); err != nil {
		return err
	}
	p, rest := parts[0], parts[1:]
	switch {
	case p == "" || p == ".":
		if len(rest) == 0 {
			return nil
		}
		return w.walk(dir, rest)
	case p == "..":
		if len(rest) == 0 {
			return nil
		}
		return w.walk(filepath.Dir(dir), rest)
	case p == "**" && len(rest) > 0:
		if err := w.walk(dir, rest); err != nil {
			return err
		}
	}
	if !strings.ContainsAny(p, `*?[\`) {
		path := filepath.Join(dir, p)
		if st, err := os.Stat(path); err == nil { // no need to look through the folder
			return w.match(path, st, rest)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return fmt.Errorf("cannot look into %s: %v", filepath.ToSlash(dir), err)
	}
	if err := w.look(dir, len(entries)); err != nil {
		return err
	}
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if p == "**" && len(rest) > 0 {
			if e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
				if err := w.walk(path, parts); err != nil {
					return err
				}
			}
			continue
		}
		if !matchName(p, e.Name()) {
			continue
		}
		st, err := os.Stat(path) // through links: a link to a clip is a clip
		if err != nil {
			continue
		}
		if err := w.match(path, st, rest); err != nil {
			return err
		}
	}
	return nil
}

// match goes on from a file or folder that a pattern's element matched.
func (w *patternWalk) match(path string, st fs.FileInfo, rest []string) error {
	switch {
	case len(rest) == 0 && st.Mode().IsRegular():
		w.found = append(w.found, path)
	case len(rest) > 0 && st.IsDir():
		return w.walk(path, rest)
	}
	return nil
}

// matchName tells whether an element of a pattern stands for a name. The same
// letters written another way (accents as letters of their own, as some file
// systems keep them) are the same name. As in a shell, only a pattern that begins
// with a dot means hidden names: what a system hides beside clips is no clip.
func matchName(pattern, name string) bool {
	if strings.HasPrefix(name, ".") && !strings.HasPrefix(pattern, ".") {
		return false
	}
	if ok, err := filepath.Match(pattern, name); err == nil && ok {
		return true
	}
	ok, err := filepath.Match(pattern, cty.NormalizeString(name)) // texts of a manifest are normalised
	return err == nil && ok
}

// exceptions is what a block's except leaves out: files by a pattern for their name alone, or by their path from
// where patterns start.
type exceptions struct {
	names []string
	paths map[string]bool
}

func (m *Manifest) exceptions(b *Block, clipsDir string) exceptions {
	x := exceptions{paths: map[string]bool{}}
	for _, p := range b.patterns {
		if !p.except {
			continue
		}
		if !strings.Contains(p.text, "/") {
			x.names = append(x.names, p.text)
		}
		if found, err := m.expand(p.text, clipsDir); err == nil {
			for _, path := range found {
				x.paths[path] = true
			}
		}
	}
	return x
}

func (x exceptions) leave(path string) bool {
	return x.paths[path] || slices.ContainsFunc(x.names, func(p string) bool { return matchName(p, filepath.Base(path)) })
}
