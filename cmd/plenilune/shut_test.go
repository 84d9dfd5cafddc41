//go:build unix

package main

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// nobody is a user that owns nothing: tests run by the superuser, who may write everywhere, run the program as this one.
const nobody = 65534

// shutting are folders that may not be written to: CACHE, OUT, AT, in which both lie, or what is in them.
var shutting = []struct {
	folder         string
	cached, placed bool
	says           string // of the one line
}{
	{"AT", false, true, `^plenilune: make the cache folder: .*: permission denied`},
	{"CACHE", true, true, `^plenilune: open cache .*: permission denied`},
	{"CACHE/tmp", true, true, `^plenilune: open cache .*: permission denied`},
	{"CACHE/index", true, true, `^plenilune: open cache .*: permission denied`},
	{"CACHE/blobs", true, true, `^failed: detail.crisp/recombine: .*: permission denied`},
	{"AT", true, false, `^plenilune: the output folder .*/out cannot be written to: .*: permission denied; name another with -o DIR`},
	{"OUT", true, true, `^plenilune: the output folder .*/out cannot be written to: .*: permission denied; name another with -o DIR`},
	{"OUT/disk", true, true, `^plenilune: deliver disk: .*: permission denied`},
}

// shut: where a folder may not be written to, one line says so, nothing in part is left, and once it may be, the next run is right.
func (k *lasting) shut(t *testing.T) {
	at, exe := k.worldly(t)
	for _, s := range shutting {
		t.Run(strings.ReplaceAll(s.folder, "/", " "), func(t *testing.T) {
			cacheDir, out := filepath.Join(at, "cache"), filepath.Join(at, "out")
			defer os.RemoveAll(out)
			defer os.RemoveAll(cacheDir)
			if s.cached {
				copyAll(t, cacheDir, k.full)
			}
			if s.placed {
				copyAll(t, out, k.done)
			}
			yield(t, at)
			folder := strings.NewReplacer("AT", at, "CACHE", cacheDir, "OUT", out).Replace(s.folder)
			shut := append(blobFolders(t, folder), folder)
			mode(t, 0o555, shut...)
			cmd := exec.Command(exe, k.words(another, cacheDir, out)...)
			if os.Geteuid() == 0 {
				cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
			}
			text, _ := cmd.CombinedOutput() // its exit code is looked at
			mode(t, 0o755, shut...)
			oneLine(t, cmd, string(text), s.says)
			k.whole(t, out)
			partless(t, out)
			k.finish(t, cacheDir, out)
			k.same(t, out)
			clean(t, cacheDir)
		})
	}
}

// worldly makes the night open to every user, and a folder for cases with a copy of the program that anyone may run.
func (k *lasting) worldly(t *testing.T) (at, exe string) {
	t.Helper()
	mode(t, 0o755, filepath.Dir(k.dir))
	for _, d := range []string{"clips", "dark", "flat"} {
		mode(t, 0o755, filepath.Join(k.dir, d))
	}
	from, err := exec.LookPath("plenilune")
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(from)
	exe = filepath.Join(k.dir, "bin", "plenilune") // by its name the binary of the tests knows which program it is
	if err == nil {
		err = os.Mkdir(filepath.Dir(exe), 0o755)
	}
	if err == nil {
		err = os.WriteFile(exe, b, 0o755)
	}
	at = filepath.Join(k.dir, "shut")
	if err == nil {
		err = os.Mkdir(at, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	return at, exe
}

// yield gives a tree to nobody, if this is the superuser.
func yield(t *testing.T, dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		return
	}
	err := filepath.WalkDir(dir, func(p string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(p, nobody, nobody)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func mode(t *testing.T, m fs.FileMode, paths ...string) {
	t.Helper()
	for _, p := range paths {
		if err := os.Chmod(p, m); err != nil {
			t.Fatal(err)
		}
	}
}

// blobFolders are the folders of blobs in a folder, if it is that of the blobs: whether a new blob needs a new one hangs on its bytes.
func blobFolders(t *testing.T, folder string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(folder, "[0-9a-f][0-9a-f]"))
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// oneLine holds that a command failed, and gave the reason in one line, beside what is always said.
func oneLine(t *testing.T, cmd *exec.Cmd, text, want string) {
	t.Helper()
	if code := cmd.ProcessState.ExitCode(); code != exitFailed {
		t.Errorf("exit code %d, want %d\n%s", code, exitFailed, text)
	}
	re := regexp.MustCompile("(?m)" + want)
	reason := regexp.MustCompile(`(?m)^.*(permission denied|no space left on device|read-only file system).*$`)
	if !re.MatchString(text) || len(reason.FindAllString(text, -1)) != 1 || strings.Contains(text, "goroutine") {
		t.Errorf("want %q, and the reason in one line:\n%s", want, text)
	}
}
