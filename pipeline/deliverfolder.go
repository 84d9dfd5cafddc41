package pipeline

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"plenilune/cache"
)

// Folder makes a delivery a folder. The encoded value, and those of More after it, are then tar streams of plain files.
type Folder struct {
	Open string  // the file in it that people open first
	More []Value // further streams; the encoded value must be made from them, so that the record tells of them
	// Splice puts the record into single files, by their names.
	Splice map[string]func(file, record []byte) ([]byte, error)
	// Log, if not nil, is beside the content: it is not compared, and left alone by a run that computes nothing.
	Log *FolderLog
}

// recordFile is the name of the record in a delivered folder.
const recordFile = "record.json"

// writersAtOnce is how many files are being written: more of them let the disk gather what is synced.
const writersAtOnce = 8

// fileSum is one file of a folder.
type fileSum struct {
	Name string `json:"name"` // with slashes, inside the folder
	ID   ID     `json:"id"`
}

// streams lists the values that a delivery is made of.
func (d *delivery) streams() []Value {
	if d.Folder == nil {
		return []Value{d.Encoded}
	}
	return append([]Value{d.Encoded}, d.Folder.More...)
}

// streamIDs are the values themselves, once their parts have settled.
func (d *delivery) streamIDs() []ID {
	var ids []ID
	for _, v := range d.streams() {
		ids = append(ids, v.node.outs[v.port])
	}
	return ids
}

// placeFolder writes a folder unless every file of it stands there already, bit for bit.
func (g *graph) placeFolder(ctx context.Context, dir string, d *delivery, rec []byte) error {
	memo := fmt.Sprintf("%s %d", cache.Sum(rec), d.Version)
	ids := d.streamIDs()
	for _, id := range ids {
		memo += " " + id.String()
	}
	memo = "folder:" + cache.Sum([]byte(memo)).String()
	tell := func(files []fileSum, changed bool) {
		for _, f := range files {
			if f.Name == d.Folder.Open {
				g.obs(Event{Delivered: &DeliveredEvent{Path: filepath.Join(dir, filepath.FromSlash(f.Name)), ID: f.ID, Changed: changed}})
			}
		}
	}
	if files, ok := g.listing(memo); ok && folderStands(dir, files) {
		tell(files, false)
		return g.placeLog(dir, d.Folder.Log)
	}
	temp, err := os.MkdirTemp(filepath.Dir(dir), partialPrefix+"*")
	if err != nil {
		return fmt.Errorf("begin the folder: %w", err)
	}
	defer os.RemoveAll(temp)
	files, err := g.unpack(ctx, temp, ids, d.Folder.Splice, rec)
	if err != nil {
		return err
	}
	changed := !folderStands(dir, files)
	if changed {
		if err := swapFolder(temp, dir); err != nil {
			return err
		}
	}
	if err := g.setListing(memo, files); err != nil {
		return err
	}
	tell(files, changed)
	return g.placeLog(dir, d.Folder.Log)
}

// placeLog writes what this run warned of, unless it stands there, and what it computed, if it computed something or the last log is gone.
func (g *graph) placeLog(dir string, to *FolderLog) error {
	if to == nil {
		return nil
	}
	if to.WarningsFile != "" {
		path, b := filepath.Join(dir, to.WarningsFile), to.WriteWarnings(g.told())
		if stands, err := os.ReadFile(path); err != nil || !bytes.Equal(stands, b) {
			if err := WriteWhole(path, b); err != nil {
				return err
			}
		}
	}
	log := g.log(time.Now())
	path := filepath.Join(dir, to.File)
	if _, err := os.Stat(path); err == nil && log.Ran() == 0 {
		return nil
	}
	return WriteWhole(path, to.Write(log))
}

// listing recalls what a folder consists of.
func (g *graph) listing(memo string) (files []fileSum, ok bool) {
	note, ok := g.cache.Note(memo)
	if !ok {
		return nil, false
	}
	id, err := cache.ParseID(string(note))
	if err != nil {
		return nil, false
	}
	b, err := g.cache.Get(id)
	return files, err == nil && json.Unmarshal(b, &files) == nil
}

func (g *graph) setListing(memo string, files []fileSum) error {
	b, err := json.Marshal(files)
	if err != nil {
		return err
	}
	id, err := g.cache.Put(b)
	if err != nil {
		return err
	}
	return g.cache.SetNote(memo, []byte(id.String()))
}

// folderStands tells whether a folder has all the files as they should be. What a user put beside them does not matter.
func folderStands(dir string, files []fileSum) bool {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return false
	}
	defer root.Close()
	for _, want := range files {
		f, err := root.Open(filepath.FromSlash(want.Name))
		if err != nil {
			return false
		}
		h := sha256.New()
		_, err = io.Copy(h, f)
		f.Close()
		if err != nil || ID(h.Sum(nil)) != want.ID {
			return false
		}
	}
	return true
}

// unpack writes the streams' files and the record into an empty folder, each through to the disk.
func (g *graph) unpack(ctx context.Context, dir string, streams []ID, splice map[string]func(file, record []byte) ([]byte, error), rec []byte) ([]fileSum, error) {
	if err := os.Chmod(dir, 0o755); err != nil {
		return nil, fmt.Errorf("open the folder to readers: %w", err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("open the folder: %w", err)
	}
	defer root.Close()
	w := folderWriter{root: root, seen: map[string]bool{}, made: map[string]bool{".": true}}
	w.group, ctx = errgroup.WithContext(ctx)
	w.group.SetLimit(writersAtOnce)
	err = g.eachFile(ctx, streams, splice, rec, w.put)
	if failed := w.group.Wait(); failed != nil {
		err = failed // which called the rest off
	}
	if err != nil {
		return nil, err
	}
	syncDir(dir)
	return w.files, nil
}

// eachFile calls fn for every file of a folder, in the order of the streams, with the record put in where it belongs.
func (g *graph) eachFile(ctx context.Context, streams []ID, splice map[string]func(file, record []byte) ([]byte, error), rec []byte, fn func(name string, b []byte) error) error {
	for _, id := range streams {
		blob, err := cacheStore{g.cache}.Open(id)
		if err != nil {
			return fmt.Errorf("open %s: %w", id.Short(), err)
		}
		err = eachInTar(ctx, &blobStream{blob: blob}, func(name string, b []byte) error {
			if f := splice[name]; f != nil {
				var err error
				if b, err = f(b, rec); err != nil {
					return fmt.Errorf("put the record into %s: %w", name, err)
				}
			}
			return fn(name, b)
		})
		if err = errors.Join(err, blob.Close()); err != nil {
			return err
		}
	}
	return fn(recordFile, rec)
}

// eachInTar calls fn for every file of a tar stream, which may hold nothing else.
func eachInTar(ctx context.Context, from io.Reader, fn func(name string, b []byte) error) error {
	r := tar.NewReader(from)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		h, err := r.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the folder's files: %w", err)
		}
		if h.Typeflag != tar.TypeReg {
			return fmt.Errorf("%q is not a plain file", h.Name)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			return fmt.Errorf("read %s: %w", h.Name, err)
		}
		if err := fn(h.Name, b); err != nil {
			return err
		}
	}
}

// folderWriter writes the files of one folder, several at once.
type folderWriter struct {
	root  *os.Root
	group *errgroup.Group
	files []fileSum
	seen  map[string]bool // in small letters: not every system tells case apart
	made  map[string]bool
}

func (w *folderWriter) put(name string, b []byte) error {
	low := strings.ToLower(name)
	switch {
	case !fs.ValidPath(name) || name == "." || !filepath.IsLocal(filepath.FromSlash(name)) || strings.ContainsAny(name, `\:`):
		return fmt.Errorf("%q is no name for a file inside a folder", name)
	case w.seen[low]:
		return fmt.Errorf("two files of a folder are called %q", name)
	}
	w.seen[low] = true
	if dir := path.Dir(name); !w.made[dir] {
		if err := w.root.MkdirAll(filepath.FromSlash(dir), 0o755); err != nil {
			return fmt.Errorf("make the folder of %s: %w", name, err)
		}
		w.made[dir] = true
	}
	w.files = append(w.files, fileSum{name, cache.Sum(b)})
	w.group.Go(func() error {
		f, err := w.root.OpenFile(filepath.FromSlash(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return fmt.Errorf("begin %s: %w", name, err)
		}
		_, err = f.Write(b)
		if err == nil {
			err = f.Sync()
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
		return nil
	})
	return nil
}

// swapFolder puts a new folder in the place of an old one, which goes whole. It never takes the place of what this
// program did not write.
func swapFolder(temp, dir string) error {
	st, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return placeRenamed(temp, dir)
	}
	if err != nil {
		return fmt.Errorf("look at %s: %w", filepath.Base(dir), err)
	}
	if !st.IsDir() || !oursOrEmpty(dir) {
		return fmt.Errorf("%s stands there and was not written by this program: move it away, or name another folder", filepath.Base(dir))
	}
	aside, err := os.MkdirTemp(filepath.Dir(dir), partialPrefix+"*")
	if err != nil {
		return fmt.Errorf("make room for the old folder: %w", err)
	}
	defer os.RemoveAll(aside)
	old := filepath.Join(aside, "old")
	if err := os.Rename(dir, old); err != nil {
		return fmt.Errorf("move the old folder aside (is a file of it open in another program?): %w", err)
	}
	if err := placeRenamed(temp, dir); err != nil {
		return errors.Join(err, os.Rename(old, dir))
	}
	return nil
}

func placeRenamed(temp, dir string) error {
	if err := os.Rename(temp, dir); err != nil {
		return fmt.Errorf("put the folder in place: %w", err)
	}
	syncDir(filepath.Dir(dir))
	return nil
}

// oursOrEmpty tells a folder that was delivered before, by the record in it, or one that holds nothing.
func oursOrEmpty(dir string) bool {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) == 0 {
		return true
	}
	b, err := os.ReadFile(filepath.Join(dir, recordFile))
	return err == nil && bytes.Contains(b, []byte(`"plenilune_record"`))
}

// blobStream reads a long value's chunks one after the other.
type blobStream struct {
	blob BlobReader
	next int
	rest []byte
}

func (s *blobStream) Read(b []byte) (int, error) {
	for len(s.rest) == 0 {
		if s.next == s.blob.Len() {
			return 0, io.EOF
		}
		c, err := s.blob.Chunk(s.next)
		if err != nil {
			return 0, fmt.Errorf("read chunk %d: %w", s.next, err)
		}
		s.next, s.rest = s.next+1, c
	}
	n := copy(b, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// sizeAt is the size of a file, or of all files of a folder.
func sizeAt(name string) (int64, error) {
	var sum int64
	err := filepath.WalkDir(name, func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		st, err := e.Info()
		if err == nil {
			sum += st.Size()
		}
		return err
	})
	return sum, err
}
