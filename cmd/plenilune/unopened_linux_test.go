package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A run in which nothing changed knows captures by their stamps, and opens none: a night of 100 GB is looked at in a moment.
func TestNoChangeOpensNoCapture(t *testing.T) {
	t.Parallel()
	dir, manifest := nightIn(t, "plenilune")
	old := time.Now().Add(-time.Hour) // older than the resolution of time stamps, as on a real night
	captures := 0
	for _, folder := range []string{"clips", "dark", "flat"} {
		err := filepath.WalkDir(filepath.Join(dir, folder), func(p string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			captures++
			return os.Chtimes(p, old, old)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	opened := watchOpens(t, filepath.Join(dir, "clips"), filepath.Join(dir, "dark"), filepath.Join(dir, "flat"))
	again := func() string {
		t.Helper()
		b, err := exec.Command("plenilune", "run", manifest, "-o", filepath.Join(dir, "out"), "--cache", filepath.Join(dir, "cache")).CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, b)
		}
		return string(b)
	}
	again()
	if got := opened(); len(got) != captures {
		t.Fatalf("the first run opened %v, of %d captures", got, captures)
	}
	if said := again(); !strings.Contains(said, "\n0 parts ran") {
		t.Errorf("the second run:\n%s", said)
	}
	if got := opened(); len(got) > 0 {
		t.Errorf("nothing changed, and %v were opened", got)
	}
}

// watchOpens watches folders; what it returns lists the names of the files in them that were opened since it was last called.
func watchOpens(t *testing.T, folders ...string) (opened func() []string) {
	t.Helper()
	fd, err := unix.InotifyInit1(unix.IN_NONBLOCK | unix.IN_CLOEXEC)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { unix.Close(fd) })
	for _, f := range folders {
		if _, err := unix.InotifyAddWatch(fd, f, unix.IN_OPEN|unix.IN_ACCESS); err != nil {
			t.Fatal(err)
		}
	}
	return func() (names []string) {
		t.Helper()
		b := make([]byte, 1<<16)
		for {
			n, err := unix.Read(fd, b)
			if errors.Is(err, unix.EAGAIN) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			for at := 0; at+unix.SizeofInotifyEvent <= n; {
				mask, size := binary.NativeEndian.Uint32(b[at+4:]), int(binary.NativeEndian.Uint32(b[at+12:]))
				at += unix.SizeofInotifyEvent
				name := string(bytes.TrimRight(b[at:at+size], "\x00"))
				at += size
				if mask&unix.IN_Q_OVERFLOW != 0 {
					t.Fatal("more was opened than can be told")
				}
				if mask&unix.IN_ISDIR == 0 {
					names = append(names, name)
				}
			}
		}
		slices.Sort(names)
		return slices.Compact(names)
	}
}
