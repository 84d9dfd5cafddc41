package cache

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Names inside a cache folder.
const (
	versionFile = "format"
	stateFile   = "state"
	lockFile    = "lock"
	holderFile  = "holder"
	indexDir    = "index"
	journalDir  = "journal"
	blobsDir    = "blobs"
	tempDir     = "tmp"

	versionWords = "plenilune cache "
	version      = 1
)

// checkVersion refuses a folder that a newer program made. What an older one made in another format is removed, which older tells.
func checkVersion(dir string) (older int, err error) {
	path := filepath.Join(dir, versionFile)
	b, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, err
	}
	var v int
	if n, err := fmt.Sscanf(string(b), versionWords+"%d", &v); n == 1 && err == nil && string(b) == versionText(v) {
		switch {
		case v > version:
			return 0, fmt.Errorf("the folder is in cache format %d, this program knows %d: use the newer program, or another folder", v, version)
		case v == version:
			return 0, nil
		}
		older = v
		for _, name := range []string{stateFile, indexDir, journalDir, blobsDir} {
			if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
				return older, err
			}
		}
	}
	return older, os.WriteFile(path, []byte(versionText(version)), 0o666)
}

// versionText carries a check, so that a flipped bit is not taken for another version.
func versionText(v int) string {
	line := fmt.Sprintf("%s%d\n", versionWords, v)
	return line + "sum " + Sum([]byte(line)).String() + "\n"
}

// clearTemp removes what a killed process left unfinished.
func clearTemp(dir string) error {
	path := filepath.Join(dir, tempDir)
	if err := os.MkdirAll(path, 0o777); err != nil {
		return err
	}
	left, err := os.ReadDir(path)
	if err != nil {
		return err
	}
	for _, e := range left {
		if err := os.RemoveAll(filepath.Join(path, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// writeWhole replaces a file so that it is there whole or not at all.
func writeWhole(dir, name string, b []byte) error {
	f, err := os.CreateTemp(filepath.Join(dir, tempDir), name+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	if err := os.Rename(f.Name(), filepath.Join(dir, name)); err != nil {
		return err
	}
	return syncDir(dir)
}

func (c *Cache) blobPath(id ID) string {
	name := id.String()
	return filepath.Join(c.dir, blobsDir, name[:2], name)
}

// makeBlobDir makes the folder that a blob goes to, safe against power loss.
func (c *Cache) makeBlobDir(id ID) (string, error) {
	dir := filepath.Dir(c.blobPath(id))
	switch err := os.Mkdir(dir, 0o777); {
	case err == nil:
		return dir, syncDir(filepath.Dir(dir))
	case errors.Is(err, fs.ErrExist):
		return dir, nil
	default:
		return dir, err
	}
}

// blobFiles calls fn for every blob file, and stray for every other file there.
func blobFiles(dir string, fn func(id ID, info fs.FileInfo) error, stray func(path string)) error {
	root := filepath.Join(dir, blobsDir)
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		id, err := ParseID(d.Name())
		if err != nil || filepath.Base(filepath.Dir(path)) != d.Name()[:2] || !d.Type().IsRegular() {
			if stray != nil {
				stray(path)
			}
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		return fn(id, info)
	})
}
