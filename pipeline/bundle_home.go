package pipeline

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// packDoubleStars is how many ** a pattern of a stranger's manifest may have: each multiplies the folders to be looked into.
const packDoubleStars = 2

// packOutDirs are the output folders of a pack's manifests, beside these.
var packOutDirs = []string{
	strings.TrimSuffix(packManifest, ".hcl") + "-out",
	strings.TrimSuffix(packFromPanels, ".hcl") + "-out",
}

// home is what holds for a manifest that was unpacked: it reads only in its own folder, or under that of --clips, and knows its
// clips by content, whatever they are called there.
type home struct {
	index PackIndex
	dir   string   // absolute
	roots []string // the folders, with links followed
}

// choice is what of a block's files is taken once their content is known.
type choice struct {
	dir     string           // where the pack was laid out
	wanted  map[ID]PackInput // what the pack was made from
	matched map[string]bool  // files that the block's patterns mean
}

// atHome finds out whether the manifest lies in an unpacked folder.
func (m *Manifest) atHome(clipsDir string) (*home, error) {
	f, err := os.Open(filepath.Join(m.Dir, packIndexFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", packIndexFile, err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, packMostIndex+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", packIndexFile, err)
	}
	if len(b) > packMostIndex {
		return nil, fmt.Errorf("%s has more than %d bytes", packIndexFile, packMostIndex)
	}
	h := &home{}
	if h.index, err = parsePackIndex(b); err != nil {
		return nil, err
	}
	if h.dir, err = filepath.Abs(m.Dir); err != nil {
		return nil, fmt.Errorf("find %s: %w", m.Dir, err)
	}
	for _, dir := range []string{m.Dir, clipsDir} {
		if dir == "" {
			continue
		}
		abs, err := filepath.Abs(dir)
		if err == nil {
			abs, err = filepath.EvalSymlinks(abs)
		}
		if err != nil {
			return nil, fmt.Errorf("find %s: %w", dir, err)
		}
		h.roots = append(h.roots, abs)
	}
	return h, nil
}

// refuses says why a pattern may not stand in a stranger's manifest, or "".
func (h *home) refuses(pattern string) string {
	slashed := filepath.ToSlash(pattern)
	elements := strings.Split(slashed, "/")
	stars := 0
	for _, e := range elements {
		if e == "**" {
			stars++
		}
	}
	switch {
	case path.IsAbs(slashed) || filepath.IsAbs(pattern) || strings.HasPrefix(pattern, `\`) || len(pattern) > 1 && pattern[1] == ':':
		return "is an absolute path"
	case slices.Contains(elements, ".."):
		return "leads out of the folder"
	case stars > packDoubleStars:
		return fmt.Sprintf("has ** more than %d times", packDoubleStars)
	}
	return ""
}

// holds tells whether a file lies in one of the folders, with links followed.
func (h *home) holds(file string) bool {
	real, err := filepath.Abs(file)
	if err == nil {
		real, err = filepath.EvalSymlinks(real)
	}
	if err != nil {
		return false
	}
	for _, root := range h.roots {
		if rel, err := filepath.Rel(root, real); err == nil && filepath.IsLocal(rel) {
			return true
		}
	}
	return false
}

// resolve finds a block's files: those that have the sizes of the ones that the pack was made from, among which content decides
// once they are read, and those that its patterns mean.
func (h *home) resolve(m *Manifest, d *Diagnostics, b *Block, clipsDir string) {
	b.choice = &choice{dir: m.Dir, wanted: map[ID]PackInput{}, matched: map[string]bool{}}
	found := h.ofPack(m.Dir, clipsDir, b)
	var first *filePattern
	for _, p := range b.patterns {
		if why := h.refuses(p.text); why != "" {
			d.fault(p.at, fmt.Sprintf("%q %s, and this manifest came in a pack", p.text, why),
				"it reads only in its own folder, or under --clips DIR; if you trust it, take "+packIndexFile+" away")
			return
		}
		if first == nil && !p.except {
			first = &p
		}
	}
	h.sequences(m, d, b, clipsDir)
	out := m.exceptions(b, clipsDir)
	for _, p := range b.patterns {
		if p.except || p.sequence {
			continue
		}
		for _, dir := range slices.Compact([]string{"", clipsDir}) {
			files, err := m.expand(p.text, dir)
			if err != nil {
				d.fault(p.at, err.Error(), "write / between folders, * for any letters, ** for any folders")
				return
			}
			for _, f := range files {
				if !out.leave(f) && h.holds(f) {
					found[f], b.choice.matched[f] = true, true
				}
			}
		}
	}
	for f := range found {
		b.Paths = append(b.Paths, f)
	}
	slices.Sort(b.Paths)
	if len(b.Captures()) == 0 && first != nil {
		text := fmt.Sprintf("none of the %d files that this pack was made from is here", len(b.choice.wanted))
		if len(b.choice.wanted) == 0 {
			text = fmt.Sprintf("no file matches %q", first.text)
		}
		d.fault(first.at, text, fmt.Sprintf("say with --clips DIR where they are, whatever they are called; or put clips of your own into %s", path.Dir(first.text)))
	}
}

// ofPack finds what may be the files that the pack was made from: each where the pack has it, or else, in the folder and under
// --clips, all that have its size.
func (h *home) ofPack(dir, clipsDir string, b *Block) map[string]bool {
	found, sizes := map[string]bool{}, map[int64]bool{}
	for _, in := range h.index.inputsOf(Ref{b.Kind, b.Name}) {
		b.choice.wanted[in.ID] = in
		if in.Pictures > 0 {
			continue
		}
		file := in.in(dir)
		if st, err := os.Stat(file); err == nil && st.Mode().IsRegular() && st.Size() == in.Bytes && h.holds(file) {
			found[file] = true
		} else {
			sizes[in.Bytes] = true
		}
	}
	for _, root := range []string{dir, clipsDir} {
		if root != "" && len(sizes) > 0 {
			h.bySize(root, sizes, found)
		}
	}
	return found
}

// in is where a file of a pack lies that was laid out in a folder.
func (in PackInput) in(dir string) string { return filepath.Join(dir, filepath.FromSlash(in.Name)) }

// sequences finds the sequences that a block's patterns mean.
func (h *home) sequences(m *Manifest, d *Diagnostics, b *Block, clipsDir string) {
	for _, dir := range slices.Compact([]string{"", clipsDir}) {
		m.resolveSequences(d, b, m.exceptions(b, dir), dir)
	}
	b.Sequences = slices.DeleteFunc(b.Sequences, func(s Sequence) bool {
		return slices.ContainsFunc(s.Pictures, func(p string) bool { return !h.holds(p) })
	})
	b.Sequences = slices.CompactFunc(b.Sequences, func(a, b Sequence) bool { return a.Path == b.Path })
	for _, s := range b.Sequences {
		b.choice.matched[s.Path] = true
	}
}

// bySize adds the files of a folder, and of those in it, that have one of the sizes.
func (h *home) bySize(dir string, sizes map[int64]bool, found map[string]bool) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return
	}
	// What cannot be looked into holds no clip that could be read.
	_ = filepath.WalkDir(abs, func(file string, e fs.DirEntry, err error) error {
		switch {
		case err != nil || file == abs:
			return nil
		case strings.HasPrefix(e.Name(), "."):
			if e.IsDir() {
				return fs.SkipDir
			}
			return nil
		case e.IsDir() && filepath.Dir(file) == h.dir && slices.Contains(packOutDirs, e.Name()):
			return fs.SkipDir // what was made is not what it is made from
		case e.IsDir():
			return nil
		}
		if st, err := os.Stat(file); err == nil && st.Mode().IsRegular() && sizes[st.Size()] && h.holds(file) {
			found[file] = true
		}
		return nil
	})
}

// take keeps those of a block's files that the pack was made from, each content once, from where the pack has it if it lies there;
// if none of them is there, those that its patterns mean.
func (c *choice) take(files []*inputFile) []*inputFile {
	if c == nil {
		return files
	}
	var ours, matched []*inputFile
	at := map[ID]int{}
	for _, f := range files {
		if f == nil {
			continue
		}
		if in, ok := c.wanted[f.id]; ok {
			i, dup := at[f.id]
			switch {
			case !dup:
				at[f.id], ours = len(ours), append(ours, f)
			case f.path == in.in(c.dir):
				ours[i] = f
			}
		}
		if c.matched[f.path] {
			matched = append(matched, f)
		}
	}
	if len(ours) > 0 {
		return ours
	}
	return matched
}

// lacks lists what of a pack's files is not among a block's items, if any of them is.
func (c *choice) lacks(items []Item) (out []PackInput) {
	if c == nil {
		return nil
	}
	here := map[ID]bool{}
	any := false
	for _, it := range items {
		here[it.ID] = true
		_, ours := c.wanted[it.ID]
		any = any || ours
	}
	for id, in := range c.wanted {
		if any && !here[id] {
			out = append(out, in)
		}
	}
	slices.SortFunc(out, func(a, b PackInput) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// warnOfMissing says that a block is made from fewer files than the pack was.
func (g *graph) warnOfMissing(b *Block, items []Item) {
	lacks := b.choice.lacks(items)
	if len(lacks) == 0 {
		return
	}
	var names []string
	for _, in := range lacks {
		names = append(names, in.Label())
	}
	g.warn(Warning{"clips-missing", fmt.Sprintf("%d of the %d files that the pack's %s %q was made from are not here (%s): what is made will differ",
		len(lacks), len(b.choice.wanted), b.Kind, b.Name, fewOf(names))})
}

// Label is what a file of a pack is called: its name there, without folder and ending.
func (in PackInput) Label() string {
	base := path.Base(in.Name)
	return strings.TrimSuffix(base, path.Ext(base))
}

// mentioned finds the file of a pack that a name in a block means.
func (h *home) mentioned(name string) (ID, bool) {
	for _, in := range h.index.Inputs {
		if in.Label() == name {
			return in.ID, true
		}
	}
	return ID{}, false
}
