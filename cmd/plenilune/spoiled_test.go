//go:build unix

package main

import (
	"context"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// spoiling are the kinds of files of a cache, by their path in it.
var spoiling = []struct {
	kind string
	is   *regexp.Regexp
}{
	{"index tables", regexp.MustCompile(`^index/.*\.(sst|mem)$`)},
	{"value log", regexp.MustCompile(`^index/.*\.vlog$`)},
	{"the index's own list", regexp.MustCompile(`^index/MANIFEST$`)},
	{"what else the index keeps", regexp.MustCompile(`^index/(KEYREGISTRY|DISCARD)$`)},
	{"blobs", regexp.MustCompile(`^blobs/`)},
	{"journal", regexp.MustCompile(`^journal/`)},
	{"small files", regexp.MustCompile(`^(format|state|lock|holder)$`)},
}

// damages are ways in which a file is spoiled.
var damages = []struct {
	name string
	do   func(r *rand.Rand, b []byte) (left []byte, gone bool)
}{
	{"a bit flipped", func(r *rand.Rand, b []byte) ([]byte, bool) { return overwrite(r, b, 1, 1), false }},
	{"a stretch overwritten", func(r *rand.Rand, b []byte) ([]byte, bool) { return overwrite(r, b, 1+r.IntN(600), 255), false }},
	{"a stretch of zeros", func(r *rand.Rand, b []byte) ([]byte, bool) { return overwrite(r, b, 4096, 0), false }},
	{"cut short", func(r *rand.Rand, b []byte) ([]byte, bool) { return b[:r.IntN(len(b)+1)], false }},
	{"emptied", func(*rand.Rand, []byte) ([]byte, bool) { return nil, false }},
	{"deleted", func(*rand.Rand, []byte) ([]byte, bool) { return nil, true }},
	{"lengthened", func(r *rand.Rand, b []byte) ([]byte, bool) {
		return append(b, overwrite(r, make([]byte, 300), 300, 255)...), false
	}},
}

// overwrite changes n bytes: flips one bit of each, makes them anything, or 0.
func overwrite(r *rand.Rand, b []byte, n, how int) []byte {
	used := len(b)
	for used > 0 && b[used-1] == 0 { // the index's files end in zeros that nobody reads
		used--
	}
	if used == 0 {
		used = len(b)
	}
	if used == 0 {
		return b
	}
	at := r.IntN(used)
	for i := at; i < min(at+n, used); i++ {
		switch how {
		case 0:
			b[i] = 0
		case 1:
			b[i] ^= 1 << r.IntN(8)
		default:
			b[i] = byte(r.IntN(256))
		}
	}
	return b
}

// damaged: whatever is damaged in a cache, closed in order or left by a kill, a run gives the same bytes: it recomputes what is
// lost, and makes the index again with a warning.
func (k *lasting) damaged(t *testing.T) {
	cases := 14
	if long() {
		cases = 500
	}
	left := k.leftOpen(t)
	recomputed, told := 0, 0
	for i := range cases {
		kind, damage := spoiling[i%len(spoiling)], damages[(i+i/len(spoiling))%len(damages)]
		from := k.full
		if i%3 == 2 {
			from = left
		}
		t.Run(fmt.Sprintf("%d %s %s", i, kind.kind, damage.name), func(t *testing.T) {
			at := t.TempDir()
			defer os.RemoveAll(at)
			cacheDir, out := filepath.Join(at, "cache"), filepath.Join(at, "out")
			copyAll(t, cacheDir, from)
			file := k.spoil(t, cacheDir, kind.is, damage.do)
			want := k.want
			var args []string
			switch i % 4 {
			case 2: // over what stands there
				copyAll(t, out, k.done)
			case 3: // with something to compute, out of what is kept
				args, want = []string{"--set", "boost=2"}, k.other
			}
			text := k.finish(t, cacheDir, out, args...)
			if strings.Contains(text, "defect") || strings.Contains(text, "goroutine") {
				t.Errorf("%s: %s", file, text)
			}
			if d := differences(want, published(t, out)); len(d) > 0 {
				t.Errorf("%s was spoiled: other bytes in %v", file, d)
			}
			partless(t, out)
			ran := !strings.Contains(text, "\n0 parts ran")
			if ran {
				recomputed++
			}
			// A list cut between two of its entries may lack nothing that is needed.
			lost := ran && i%4 != 3
			if strings.Contains(text, "warning: cache: ") {
				told++
			} else if lost && from == k.full && strings.HasPrefix(file, "index/") {
				t.Errorf("%s was spoiled, and nothing was said:\n%s", file, text)
			}
			k.provable(t, cacheDir)
		})
	}
	t.Logf("of %d cases %d recomputed something, %d warned of the cache", cases, recomputed, told)
	if recomputed == 0 || told == 0 {
		t.Error("the damage reached nothing")
	}
}

// leftOpen is a cache as a killed run leaves it.
func (k *lasting) leftOpen(t *testing.T) string {
	t.Helper()
	cmd, cacheDir, _ := k.begin(t, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE", "--set", "boost=3", "--fresh"}, true, false)
	for range 3000 { // until it works
		time.Sleep(10 * time.Millisecond)
		if b, err := os.ReadFile(filepath.Join(cacheDir, "state")); err == nil && strings.Contains(string(b), "\nopen\n") {
			break
		}
	}
	_ = cmd.Process.Kill() // it may have ended
	_ = cmd.Wait()
	if cmd.ProcessState.Exited() {
		t.Fatal("the run ended before it was killed")
	}
	return cacheDir
}

// spoil spoils some file of a kind, and tells which.
func (k *lasting) spoil(t *testing.T, dir string, kind *regexp.Regexp, do func(*rand.Rand, []byte) ([]byte, bool)) string {
	t.Helper()
	var files []string
	err := fs.WalkDir(os.DirFS(dir), ".", func(p string, e fs.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() && kind.MatchString(p) {
			files = append(files, p)
		}
		return err
	})
	if err != nil || len(files) == 0 {
		t.Fatalf("no files %v: %v", kind, err)
	}
	name := files[k.rng.IntN(len(files))]
	path := filepath.Join(dir, filepath.FromSlash(name))
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b, gone := do(k.rng, b)
	if gone {
		err = os.Remove(path)
	} else {
		err = os.WriteFile(path, b, 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// provable holds that a check of the cache ends, and ends well or with a list of faults.
func (k *lasting) provable(t *testing.T, cacheDir string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "plenilune", "cache", "check", "--cache", cacheDir)
	b, err := cmd.CombinedOutput()
	if code := cmd.ProcessState.ExitCode(); err != nil && (code != exitFailed || !strings.Contains(string(b), "faults; what is damaged")) {
		t.Errorf("cache check: %v\n%s", err, b)
	}
}
