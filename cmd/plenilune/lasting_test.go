//go:build unix

package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plenilune/cache"
)

// long tells whether tests that try many cases are to try all of them: PLENILUNE_LONG=1.
func long() bool { return os.Getenv("PLENILUNE_LONG") != "" }

// Whatever ends, spoils or fills up a run, nothing wrong comes out, nothing in part is left, and the next run has the same bytes.
func TestNothingIsLost(t *testing.T) {
	t.Parallel()
	k := newLasting(t)
	t.Run("killed", k.killed)
	t.Run("damaged", k.damaged)
	t.Run("shut", k.shut)
	t.Run("full", k.filled)
	t.Run("two at once", k.together)
}

// lasting is a night that was run once, to hold others against.
type lasting struct {
	dir, manifest string
	full          string // a cache that holds everything
	done          string // an output folder that is whole
	want          map[string]cache.ID
	other         map[string]cache.ID // what another recipe gives
	pack          cache.ID            // of the night in one file
	rng           *rand.Rand
}

func newLasting(t *testing.T) *lasting {
	k := &lasting{rng: rand.New(rand.NewPCG(1969, 7))}
	k.dir, k.manifest = nightIn(t, "plenilune")
	b, err := os.ReadFile(k.manifest)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(b), "  boost ", "  boost = settings.boost # ", 1)
	if text == string(b) {
		t.Fatal("the manifest has no boost to change")
	}
	if !strings.Contains(text, "settings {") {
		text += "\nsettings {\n}\n"
	}
	text = strings.Replace(text, "settings {", "settings {\n  boost = 1.1", 1)
	if err := os.WriteFile(k.manifest, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	old := time.Now().Add(-time.Hour)
	for _, pattern := range []string{"clips/*", "dark/*", "flat/*"} {
		files, err := filepath.Glob(filepath.Join(k.dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files { // older than the resolution of time stamps, as on a real night
			if err := os.Chtimes(f, old, old); err != nil {
				t.Fatal(err)
			}
		}
	}
	k.full, k.done = filepath.Join(k.dir, "full"), filepath.Join(k.dir, "done")
	k.finish(t, k.full, k.done)
	k.want = published(t, k.done)
	_, k.other = k.time(t, another, true, false)
	k.pack = k.packed(t)
	return k
}

// packed is what a pack of the night holds.
func (k *lasting) packed(t *testing.T) cache.ID {
	t.Helper()
	cmd, cacheDir, _ := k.begin(t, packing, true, true)
	if err := cmd.Wait(); err != nil {
		t.Fatalf("pack: %v", err)
	}
	b, err := os.ReadFile(packFile(cacheDir))
	if err != nil {
		t.Fatal(err)
	}
	return cache.Sum(b)
}

// packFile is where a case's pack goes.
func packFile(cacheDir string) string { return filepath.Join(filepath.Dir(cacheDir), "night.zip") }

// finish runs the night, which must succeed, and returns what was said.
func (k *lasting) finish(t *testing.T, cacheDir, out string, more ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute) // a hang would keep everything waiting
	defer cancel()
	words := append([]string{"run", k.manifest, "-o", out, "--cache", cacheDir}, more...)
	b, err := exec.CommandContext(ctx, "plenilune", words...).CombinedOutput()
	if err != nil {
		t.Fatalf("the next run: %v\n%s", err, b)
	}
	return string(b)
}

// begin makes a cache and an output folder ready and starts a command on them.
func (k *lasting) begin(t *testing.T, args []string, cached, placed bool) (cmd *exec.Cmd, cacheDir, out string) {
	t.Helper()
	at := t.TempDir()
	cacheDir, out = filepath.Join(at, "cache"), filepath.Join(at, "out")
	if cached {
		copyAll(t, cacheDir, k.full)
	}
	if placed {
		copyAll(t, out, k.done)
	}
	return k.start(t, args, cacheDir, out), cacheDir, out
}

func (k *lasting) start(t *testing.T, args []string, cacheDir, out string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("plenilune", k.words(args, cacheDir, out)...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// another is a recipe of which something has to be computed and every finished picture written.
var another = []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE", "--set", "boost=2"}

// words puts the places of a case into a command.
func (k *lasting) words(args []string, cacheDir, out string) (words []string) {
	for _, a := range args {
		words = append(words, strings.NewReplacer("NIGHT", k.manifest, "OUT", out, "CACHE", cacheDir, "PACK", packFile(cacheDir)).Replace(a))
	}
	return words
}

// same fails the test if an output folder is not as it should be.
func (k *lasting) same(t *testing.T, out string) {
	t.Helper()
	if d := differences(k.want, published(t, out)); len(d) > 0 {
		t.Errorf("other bytes in %v", d)
	}
	partless(t, out)
}

// whole fails the test if a file of an output folder is not one of either recipe.
func (k *lasting) whole(t *testing.T, out string) {
	t.Helper()
	for name, id := range published(t, out) {
		if id != k.want[name] && id != k.other[name] {
			t.Errorf("%s stands there in part", name)
		}
	}
}

// clean fails the test if a cache has faults.
func clean(t *testing.T, cacheDir string) {
	t.Helper()
	if b, err := exec.Command("plenilune", "cache", "check", "--cache", cacheDir).CombinedOutput(); err != nil {
		t.Errorf("the cache: %v\n%s", err, b)
	}
}

// partless fails the test if something unfinished stands in an output folder.
func partless(t *testing.T, out string) {
	t.Helper()
	if left, _ := filepath.Glob(filepath.Join(out, ".plenilune-partial-*")); len(left) > 0 {
		t.Errorf("%v was left behind", left)
	}
}

func copyAll(t *testing.T, to, from string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(fmt.Errorf("copy: %w", err))
	}
}
