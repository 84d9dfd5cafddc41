//go:build unix

package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"plenilune/cache"
)

// filled: a disk that fills up, under the cache or under the pictures, is told in one line; nothing in part is left, and with room
// again the next run is right. A cache that filled its disk can be trimmed.
func (k *lasting) filled(t *testing.T) {
	disk := filepath.Join(k.dir, "small disk")
	if err := os.Mkdir(disk, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := mountSmall(disk, "1m"); err != nil {
		if os.Geteuid() == 0 && os.Getenv("PLENILUNE_REQUIRE_TOOLS") != "" {
			t.Fatalf("a small disk is required here: %v", err)
		}
		t.Skip("no small disk can be mounted here")
	}
	umount(t, disk)
	for _, c := range []struct {
		under  string // CACHE or OUT
		kB     int
		cached bool
		says   string
	}{
		{"CACHE", 3_000, false, `^plenilune: open cache .* MB free.*no space left on device; make room`},
		{"CACHE", 30_000, false, `^failed: .* MB free.*no space left on device$`},
		{"CACHE", cache.Floor/1024 + 1500, false, `^failed: .* MB free.*no space left on device$`},
		{"CACHE", cache.Floor/1024 + 2600, false, `^failed: .* MB free.*no space left on device$`},
		{"CACHE", cache.Floor/1024 + 4000, false, `^failed: .* MB free.*no space left on device$`},
		{"OUT", 16, true, `^plenilune: deliver disk-linear.tif \(1 of 6\): .*no space left on device$`},
		{"OUT", 300, true, `^plenilune: deliver disk.tif \(2 of 6\): .*no space left on device$`},
		{"OUT", 450, true, `^plenilune: deliver .* \([45] of 6\): .*no space left on device$`},
	} {
		t.Run(fmt.Sprintf("%s on %d kB", c.under, c.kB), func(t *testing.T) {
			mounted(t, disk, fmt.Sprintf("%dk", c.kB))
			defer umount(t, disk)
			places := map[string]string{"CACHE": filepath.Join(t.TempDir(), "cache"), "OUT": filepath.Join(t.TempDir(), "out")}
			places[c.under] = filepath.Join(disk, "x")
			cacheDir, out := places["CACHE"], places["OUT"]
			if c.cached {
				copyAll(t, cacheDir, k.full)
			}
			cmd := exec.Command("plenilune", "run", k.manifest, "-o", out, "--cache", cacheDir, "--any-room")
			text, _ := cmd.CombinedOutput() // its exit code is looked at
			oneLine(t, cmd, string(text), c.says)
			oneLine(t, cmd, string(text), `make room \(plenilune cache trim`)
			k.whole(t, out)
			partless(t, out)
			remount(t, disk, "200m")
			k.finish(t, cacheDir, out)
			k.same(t, out)
			clean(t, cacheDir)
		})
	}
	t.Run("trim", func(t *testing.T) {
		mounted(t, disk, "160m")
		defer umount(t, disk)
		cacheDir := filepath.Join(disk, "cache")
		copyAll(t, cacheDir, k.full)
		c, err := cache.Open(context.Background(), cacheDir, cache.Options{})
		if err != nil {
			t.Fatal(err)
		}
		b := make([]byte, 1<<20)
		for range 75 {
			for i := range b {
				b[i] = byte(rand.Uint32())
			}
			if _, err := c.Put(b); err != nil {
				t.Fatal(err)
			}
		}
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
		fillUp(t, filepath.Join(disk, "something else"))
		if b, err := exec.Command("plenilune", "cache", "size", "--cache", cacheDir).CombinedOutput(); err == nil {
			t.Fatalf("the disk is not full: %s", b)
		}
		if b, err := exec.Command("plenilune", "cache", "trim", "--to", "6MB", "--cache", cacheDir).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, b)
		}
		out := t.TempDir()
		remount(t, disk, "200m")
		clean(t, cacheDir)
		k.finish(t, cacheDir, out)
		k.same(t, out)
	})
}

// fillUp writes a file until its disk is full.
func fillUp(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

func mounted(t *testing.T, dir, size string) {
	t.Helper()
	if err := mountSmall(dir, size); err != nil {
		t.Fatal(err)
	}
}

func remount(t *testing.T, dir, size string) {
	t.Helper()
	if b, err := exec.Command("mount", "-o", "remount,size="+size, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
}

func umount(t *testing.T, dir string) {
	t.Helper()
	if b, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
		t.Errorf("umount: %v\n%s", err, b)
	}
}
