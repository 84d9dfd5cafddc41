package pipeline

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"
)

// Unpacked is what an archive held, laid out in a folder.
type Unpacked struct {
	Manifest string // path of the manifest
	Panels   string // path of the one that begins with stacked panels; empty if there is none
	Index    PackIndex
	Missing  []PackInput // files that the pack does not hold, each content once
}

// Unpack lays out an archive in a folder that does not exist yet, or is empty: all of it, with every content proved against
// pack.json, or nothing. Its manifest is not run, only read: one that would read outside its folder is refused.
func Unpack(ctx context.Context, p *Pack, dir string, steps []Step) (Unpacked, error) {
	u := Unpacked{Manifest: filepath.Join(dir, packManifest), Index: p.Index, Missing: p.Index.missing()}
	dir = filepath.Clean(dir)
	if err := emptyPlace(dir); err != nil {
		return u, err
	}
	undo, err := makeParents(filepath.Dir(dir))
	if err != nil {
		return u, fmt.Errorf("make the folder around %s: %w", dir, err)
	}
	defer undo() // a folder that holds something by then stays
	temp, err := beginBeside(dir)
	if err != nil {
		return u, fmt.Errorf("begin the folder: %w", err)
	}
	defer os.RemoveAll(temp)
	if err := p.layOut(ctx, temp, nil); err != nil {
		return u, err
	}
	if err := p.judgeManifests(temp, steps); err != nil {
		return u, err
	}
	if err := os.Chmod(temp, 0o755); err != nil {
		return u, fmt.Errorf("open the folder to readers: %w", err)
	}
	if p.files[packFromPanels] != nil {
		u.Panels = filepath.Join(dir, packFromPanels)
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return u, fmt.Errorf("put the folder in the place of the empty one: %w", err)
	}
	return u, placeRenamed(temp, dir)
}

// makeParents makes a folder with those around it; undo takes those away that were made and are empty, the innermost first.
func makeParents(dir string) (undo func(), err error) {
	var made []string
	for at := dir; ; at = filepath.Dir(at) {
		if _, err := os.Stat(at); !errors.Is(err, fs.ErrNotExist) || at == filepath.Dir(at) {
			break
		}
		made = append(made, at)
	}
	undo = func() {
		for _, d := range made {
			_ = os.Remove(d) // refused where it holds something
		}
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		undo()
		return nil, err
	}
	return undo, nil
}

// partialKept is how long what looks like a killed run's remains is left alone.
const partialKept = 24 * time.Hour

// beginBeside makes a folder for what will be renamed to a path once it is whole, and removes what a kill left of such.
//
// The name ends in digits alone, so that what is left of "moon" is not taken for what is made for "moon-2"; what is younger than a
// day may be another's work at the same path.
func beginBeside(path string) (string, error) {
	prefix := partialPrefix + filepath.Base(path) + "-"
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return "", err
	}
	for _, e := range entries {
		number, ours := strings.CutPrefix(e.Name(), prefix)
		if !ours || number == "" || strings.Trim(number, "0123456789") != "" {
			continue
		}
		if st, err := e.Info(); err == nil && time.Since(st.ModTime()) > partialKept {
			if err := os.RemoveAll(filepath.Join(filepath.Dir(path), e.Name())); err != nil {
				return "", err
			}
		}
	}
	return os.MkdirTemp(filepath.Dir(path), prefix+"*")
}

// emptyPlace holds a folder to be new, or empty and free to be replaced.
func emptyPlace(dir string) error {
	st, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look at %s: %w", dir, err)
	}
	if !st.IsDir() {
		return &RequestError{fmt.Sprintf("%s is no folder: name a new one", filepath.ToSlash(dir))}
	}
	if here, err := os.Stat("."); err == nil && os.SameFile(here, st) {
		return &RequestError{"this is the folder that you are in: name a new one"}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("look into %s: %w", dir, err)
	}
	if len(entries) > 0 {
		return &RequestError{fmt.Sprintf("%s holds files already, and nothing is written over them: name a new folder", filepath.ToSlash(dir))}
	}
	return nil
}

// layOut writes the files that are wanted, all if wanted is nil, below a folder, and proves each. Nothing leaves it: os.Root sees to
// that beside the judgement of names.
func (p *Pack) layOut(ctx context.Context, dir string, wanted func(name string) bool) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return fmt.Errorf("open the folder: %w", err)
	}
	defer root.Close()
	put := func(name string, want *PackFile) error {
		if err := root.MkdirAll(filepath.FromSlash(path.Dir(name)), 0o755); err != nil {
			return fmt.Errorf("make the folder of %s: %w", name, err)
		}
		f, err := root.OpenFile(filepath.FromSlash(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return fmt.Errorf("begin %s: %w", name, err)
		}
		h := sha256.New()
		err = p.copyOut(name, io.MultiWriter(sink{f}, h, stopper{ctx}))
		if err == nil {
			err = f.Sync()
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return err
		}
		if want != nil && ID(h.Sum(nil)) != want.ID {
			return packFault("%q is not what %s says: it was altered", name, packIndexFile)
		}
		return nil
	}
	if err := put(packIndexFile, nil); err != nil {
		return err
	}
	for i, f := range p.Index.Files {
		if wanted != nil && !wanted(f.Name) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := put(f.Name, &p.Index.Files[i]); err != nil {
			return err
		}
	}
	syncDir(dir)
	return nil
}

// sink marks failures to write, which are not the archive's fault.
type sink struct{ w io.Writer }

func (s sink) Write(b []byte) (int, error) {
	n, err := s.w.Write(b)
	if err != nil {
		err = &writeError{fmt.Errorf("write: %w", err)}
	}
	return n, err
}

// stopper ends a long writing when the work is to stop.
type stopper struct{ ctx context.Context }

func (s stopper) Write(b []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, &writeError{err}
	}
	return len(b), nil
}

// judgeManifests judges each manifest of a pack.
func (p *Pack) judgeManifests(dir string, steps []Step) error {
	err := judgeStranger(filepath.Join(dir, packManifest), steps)
	if err == nil && p.files[packFromPanels] != nil {
		err = judgeStranger(filepath.Join(dir, packFromPanels), steps)
	}
	return err
}

// judgeStranger reads a manifest that came in a pack, and refuses one with faults or one that would read outside its folder.
func judgeStranger(file string, steps []Step) error {
	src, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("read the manifest: %w", err)
	}
	m, diags := LoadManifest(packManifest, src, steps, nil)
	if err := diags.Err(); err != nil {
		return packFault("its manifest has faults: %v", err)
	}
	h := &home{}
	for _, b := range m.Blocks {
		for _, p := range b.patterns {
			if why := h.refuses(p.text); why != "" {
				return packFault("its manifest reads %q, which %s", p.text, why)
			}
		}
	}
	return nil
}
