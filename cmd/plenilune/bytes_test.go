package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"plenilune/cache"
)

var built = prepared("built", func(dir string) error {
	if out, err := exec.Command("go", "build", "-o", dir+string(filepath.Separator), ".").CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
})

// program builds the program once for the tests that need it as it is shipped.
func program(t *testing.T) string {
	t.Helper()
	dir, err := built()
	if err != nil {
		t.Fatal(err)
	}
	exe := filepath.Join(dir, "plenilune")
	if runtime.GOOS == "windows" {
		exe += ".exe"
	}
	return exe
}

// nightIn copies the small night and writes its manifest.
func nightIn(t *testing.T, exe string) (dir, manifest string) {
	t.Helper()
	from, err := smallNight()
	if err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	manifest = filepath.Join(dir, "night.hcl")
	if out, err := exec.Command(exe, "new", filepath.Join(dir, "clips"), "-o", manifest).CombinedOutput(); err != nil {
		t.Fatalf("new: %v\n%s", err, out)
	}
	return dir, manifest
}

// published is the content of every file of an output folder, but for what tells of the run.
func published(t *testing.T, dir string) map[string]cache.ID {
	t.Helper()
	out := map[string]cache.ID{}
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && strings.HasPrefix(e.Name(), "."):
			return filepath.SkipDir
		case e.IsDir() || strings.HasPrefix(e.Name(), ".") || e.Name() == "run.js":
			return nil
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(dir, p)
		out[filepath.ToSlash(name)] = cache.Sum(b)
		return err
	})
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return out
}

func differences(a, b map[string]cache.ID) (out []string) {
	for name, id := range a {
		if b[name] != id {
			out = append(out, name)
		}
	}
	for name := range b {
		if _, ok := a[name]; !ok {
			out = append(out, name)
		}
	}
	return out
}

// Every published byte is the same whatever the number of workers and processors,
// the memory, the state of the cache, and the names of the clips.
func TestSameBytesEverywhere(t *testing.T) {
	t.Parallel()
	exe := program(t)
	dir, manifest := nightIn(t, exe)
	run := func(out, cacheDir string, procs int, args ...string) map[string]cache.ID {
		t.Helper()
		cmd := exec.Command(exe, append([]string{"run", manifest, "-o", out, "--cache", cacheDir}, args...)...)
		cmd.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", procs))
		if b, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("run %v: %v\n%s", args, err, b)
		}
		return published(t, out)
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	want := run(at("a"), at("ca"), 1, "-j", "1")
	if len(want) < 5 {
		t.Fatalf("only %d files were published", len(want))
	}
	for _, c := range []struct {
		name  string
		cache string
		procs int
		args  []string
	}{
		{"two workers", "cb", 2, []string{"-j", "2"}},
		{"seven processors", "cc", 7, []string{"-j", "7"}},
		{"little memory", "cd", 2, []string{"--memory", "64MB"}},
		{"a warm cache", "ca", 2, []string{"--memory", "8GB"}},
		{"computed again", "ca", 2, []string{"--fresh"}},
	} {
		if d := differences(want, run(at("out "+c.name), at(c.cache), c.procs, c.args...)); len(d) > 0 {
			t.Errorf("%s: other bytes in %v", c.name, d)
		}
	}
	clips, err := filepath.Glob(at("clips/*.ser"))
	if err != nil || len(clips) < 3 {
		t.Fatalf("%d clips: %v", len(clips), err)
	}
	for i, c := range clips { // the first becomes the last
		if err := os.Rename(c, at(fmt.Sprintf("clips/r%03d.ser", len(clips)-i))); err != nil {
			t.Fatal(err)
		}
	}
	if d := differences(want, run(at("renamed"), at("ce"), 2)); len(d) > 0 {
		t.Errorf("clips renamed so that they sort otherwise: other bytes in %v", d)
	}
}

// An interrupt ends a run soon, with its own exit code and nothing left in part,
// and the next run goes on from there.
func TestInterrupted(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a process cannot be sent an interrupt there")
	}
	exe := program(t)
	dir, manifest := nightIn(t, exe)
	out := filepath.Join(dir, "out")
	cmd := exec.Command(exe, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache"), "-j", "1")
	var log bytes.Buffer
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// The index of the cache appears once the run has begun in earnest.
	for range 500 {
		if _, err := os.Stat(filepath.Join(dir, "cache", "journal")); err == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	time.Sleep(100 * time.Millisecond)
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // its exit code tells
	if code := cmd.ProcessState.ExitCode(); code != exitInterrupted {
		t.Errorf("exit code %d, want %d\n%s", code, exitInterrupted, log.String())
	}
	if !strings.Contains(log.String(), "interrupted; the next run goes on from here") {
		t.Errorf("it said %q", log.String())
	}
	if got := published(t, out); len(got) > 0 {
		t.Errorf("an interrupted run left %v", got)
	}
	if b, err := exec.Command(exe, "run", manifest, "-o", out, "--cache", filepath.Join(dir, "cache")).CombinedOutput(); err != nil {
		t.Errorf("the next run: %v\n%s", err, b)
	}
}
