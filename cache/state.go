package cache

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// What the state file says of the index.
const (
	stateClean   = "clean"   // closed in order; files lists the index as it was left
	stateOpen    = "open"    // in use, or left behind by a process that died
	stateRebuild = "rebuild" // not to be trusted, make it again
)

// state is the marker that tells the next Open how the last one ended.
type state struct {
	word  string
	files []fileSum
}

// fileSum is one file of a closed index.
type fileSum struct {
	size int64
	sum  string // SHA-256, or "-" for an old value log: its values are hashed one by one
	name string
}

const stateWords = "plenilune cache state 1"

func (s state) text() []byte {
	b := fmt.Appendf(nil, "%s\n%s\n", stateWords, s.word)
	for _, f := range s.files {
		b = fmt.Appendf(b, "file %d %s %s\n", f.size, f.sum, f.name)
	}
	return fmt.Appendf(b, "sum %s\n", Sum(b))
}

func writeState(dir string, s state) error {
	if err := writeWhole(dir, stateFile, s.text()); err != nil {
		return fmt.Errorf("write the state file: %w", err)
	}
	return nil
}

// readState gives the state of a cache folder; if there is none that can be
// trusted, the index is to be made again.
func readState(dir string) state {
	lost := state{word: stateRebuild}
	b, err := os.ReadFile(filepath.Join(dir, stateFile))
	cut := bytes.LastIndex(b, []byte("sum "))
	if err != nil || cut < 0 || string(b[cut:]) != fmt.Sprintf("sum %s\n", Sum(b[:cut])) {
		return lost
	}
	var s state
	sc := bufio.NewScanner(bytes.NewReader(b[:cut]))
	for n := 0; sc.Scan(); n++ {
		line, err := sc.Text(), error(nil)
		switch {
		case n == 0 && line != stateWords:
			return lost
		case n == 1:
			s.word = line
		case strings.HasPrefix(line, "file "):
			var f fileSum
			_, err = fmt.Sscanf(line, "file %d %s %s", &f.size, &f.sum, &f.name)
			s.files = append(s.files, f)
		}
		if err != nil {
			return lost
		}
	}
	return s
}

// fingerprint lists the files of a closed index with their hashes. Of the value
// logs only the newest is hashed, since Badger believes it when it opens.
func fingerprint(dir string) ([]fileSum, error) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	newest := ""
	for _, e := range list {
		if filepath.Ext(e.Name()) == ".vlog" {
			newest = e.Name()
		}
	}
	var out []fileSum
	for _, e := range list {
		f := fileSum{name: e.Name(), sum: "-"}
		info, err := e.Info()
		if err != nil {
			return nil, err
		}
		f.size = info.Size()
		if filepath.Ext(f.name) != ".vlog" || f.name == newest {
			if f.sum, err = hashFile(filepath.Join(dir, f.name)); err != nil {
				return nil, err
			}
		}
		out = append(out, f)
	}
	return out, nil
}

func hashFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("hash %s: %w", path, err)
	}
	return ID(h.Sum(nil)).String(), nil
}

// unchanged returns an error naming the first file that is not as it was left.
func (s state) unchanged(dir string) error {
	now, err := fingerprint(dir)
	if err != nil {
		return err
	}
	for i, f := range s.files {
		if i >= len(now) || now[i] != f {
			return fmt.Errorf("its file %s is not as it was left", f.name)
		}
	}
	if len(now) != len(s.files) || len(now) == 0 {
		return errors.New("its files are not those that were left")
	}
	return nil
}
