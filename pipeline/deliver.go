package pipeline

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"plenilune/cache"
)

// partialPrefix begins the names of files still being written; the next run
// removes what a kill left behind.
const partialPrefix = ".plenilune-partial-"

// deliverAll puts the wanted files into the output folder, after every part has
// settled.
func (g *graph) deliverAll(ctx context.Context, outDir string) error {
	if len(g.deliveries) == 0 {
		return nil
	}
	if err := os.MkdirAll(outDir, 0o777); err != nil {
		return fmt.Errorf("make the output folder: %w", err)
	}
	if err := sweepPartials(outDir); err != nil {
		return err
	}
	var errs []error
	var without notMade
	for i, d := range g.deliveries {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := g.awaitAll(ctx, d.streams()); err != nil {
			without.files, without.why = append(without.files, d.File), append(without.why, err)
			continue
		}
		err := g.deliver(ctx, outDir, d)
		switch {
		case err == nil:
		case noneFits(err):
			errs = append(errs, fmt.Errorf("deliver %s (%d of %d): %w", d.File, i+1, len(g.deliveries), err))
			return errors.Join(errs...) // it would be said of every other as well
		default:
			errs = append(errs, fmt.Errorf("deliver %s: %w", d.File, err))
		}
	}
	if len(without.files) > 0 {
		errs = append(errs, &without)
	}
	return errors.Join(errs...)
}

// notMade are files that a part before them kept from being made: which part and why was told when it failed.
type notMade struct {
	files []string
	why   []error
}

func (e *notMade) Error() string {
	return "not delivered, since an earlier step failed: " + strings.Join(e.files, ", ")
}

func (e *notMade) Unwrap() []error { return e.why }

// noneFits tells whether no other file could be written either: the disk is full, or may only be read.
func noneFits(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EROFS)
}

func (g *graph) awaitAll(ctx context.Context, values []Value) error {
	for _, v := range values {
		if _, err := g.await(ctx, v); err != nil {
			return err
		}
	}
	return nil
}

// deliver writes one file or folder unless it stands there already, bit for bit.
func (g *graph) deliver(ctx context.Context, outDir string, d *delivery) error {
	_, rec, err := encodedRecord(g.cache, d.Encoded)
	if err != nil {
		return err
	}
	path := filepath.Join(outDir, filepath.FromSlash(d.File))
	if err := staysInside(outDir, filepath.Dir(path)); err != nil {
		return err
	}
	if d.Folder != nil {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return fmt.Errorf("make folder: %w", err)
		}
		return g.placeFolder(ctx, path, d, rec)
	}
	if err := g.place(path, d, rec); err != nil {
		return err
	}
	if d.Beside {
		return g.place(path+".record.json", &delivery{Delivery: Delivery{Encoded: d.Encoded,
			Splice: func(_, rec []byte) ([]byte, error) { return rec, nil }}}, rec)
	}
	return nil
}

func (g *graph) place(path string, d *delivery, rec []byte) error {
	encoded := d.Encoded.node.outs[d.Encoded.port]
	memo := finalMemo(d, encoded, rec)
	if strings.HasSuffix(path, ".record.json") {
		memo = "final:" + cache.Sum(rec).String()
	}
	if want, ok := g.cache.Note(memo); ok {
		if id, err := cache.ParseID(string(want)); err == nil && g.stands(path, id) {
			g.obs(Event{Delivered: &DeliveredEvent{Path: path, ID: id}})
			return nil
		}
	}
	final, err := readStream(cacheStore{g.cache}, encoded)
	if err != nil {
		return err
	}
	if d.Splice != nil {
		if final, err = d.Splice(final, rec); err != nil {
			return fmt.Errorf("put the record in: %w", err)
		}
	}
	id := cache.Sum(final)
	changed := !g.stands(path, id)
	if changed {
		if err := WriteWhole(path, final); err != nil {
			return err
		}
		if stamp, err := cache.StampOf(path); err == nil {
			if err := g.cache.Remember(stamp, id); err != nil {
				return err
			}
		}
	}
	if err := g.cache.SetNote(memo, []byte(id.String())); err != nil {
		return err
	}
	g.obs(Event{Delivered: &DeliveredEvent{Path: path, ID: id, Changed: changed}})
	return nil
}

// finalMemo is the name of the note that holds the content id of a delivered file.
func finalMemo(d *delivery, encoded ID, rec []byte) string {
	return "final:" + cache.Sum(fmt.Appendf(nil, "%s %s %d %t", encoded, cache.Sum(rec), d.Version, d.Splice == nil)).String()
}

// stands tells whether the file at path has the content id.
func (g *graph) stands(path string, id ID) bool {
	stamp, err := cache.StampOf(path)
	if err != nil {
		return false
	}
	if have, ok := g.cache.Recall(stamp); ok {
		return have == id
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return false
	}
	var have ID
	h.Sum(have[:0])
	if have != id {
		return false
	}
	// A failure to remember costs a second look next time, nothing else.
	_ = g.cache.Remember(stamp, id)
	return true
}

// staysInside returns an error if a folder below the output folder, which may not be there yet, leads elsewhere by a link.
func staysInside(outDir, dir string) error {
	root, err := filepath.EvalSymlinks(outDir)
	if err != nil {
		return fmt.Errorf("look at the output folder: %w", err)
	}
	for ; len(dir) > len(outDir); dir = filepath.Dir(dir) {
		real, err := filepath.EvalSymlinks(dir)
		if errors.Is(err, fs.ErrNotExist) {
			if st, err := os.Lstat(dir); err == nil && st.Mode()&fs.ModeSymlink != 0 {
				return fmt.Errorf("%s is a link that leads nowhere: remove it", dir)
			}
			continue
		}
		if err != nil {
			return fmt.Errorf("look at %s: %w", dir, err)
		}
		if rel, err := filepath.Rel(root, real); err != nil || !filepath.IsLocal(rel) {
			return fmt.Errorf("%s is a link that leads out of the output folder, to %s: nothing is written there", dir, real)
		}
	}
	return nil
}

// WriteWhole writes a file so that its name never stands for a part of it.
func WriteWhole(path string, b []byte) (err error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("make folder: %w", err)
	}
	f, err := os.CreateTemp(dir, partialPrefix+"*")
	if err != nil {
		return fmt.Errorf("begin %s: %w", filepath.Base(path), err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(b); err != nil {
		return fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	if err = f.Chmod(0o644); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	if err = f.Sync(); err != nil {
		return fmt.Errorf("write %s to disk: %w", filepath.Base(path), err)
	}
	if err = f.Close(); err != nil {
		return fmt.Errorf("close %s: %w", filepath.Base(path), err)
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("put %s in place (is it open in another program?): %w", filepath.Base(path), err)
	}
	syncDir(dir)
	return nil
}

// syncDir makes a rename last through a loss of power, where folders can be synced.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
}

// sweepPartials removes what a killed run left in the output folder.
func sweepPartials(outDir string) error {
	err := filepath.WalkDir(outDir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if !strings.HasPrefix(e.Name(), partialPrefix) || path == outDir {
			return nil
		}
		if err := os.RemoveAll(path); err != nil {
			return err
		}
		if e.IsDir() {
			return fs.SkipDir
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("remove what an interrupted run left in %s: %w", outDir, err)
	}
	return nil
}
