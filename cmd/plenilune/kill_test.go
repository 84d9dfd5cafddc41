package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"plenilune/cache"
)

// long tells whether tests that try many cases are to try all of them: PLENILUNE_LONG=1.
func long() bool { return os.Getenv("PLENILUNE_LONG") != "" }

// endings is what may be going on when the program is killed, and how often each is tried of 200 times.
var endings = []struct {
	name   string
	of200  int
	cached bool     // with everything in the cache
	placed bool     // with everything in the output folder
	args   []string // NIGHT, OUT and CACHE are replaced
}{
	{"run", 70, false, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"delivery", 50, true, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"another recipe", 40, true, true, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE", "--set", "boost=2"}},
	{"trim", 40, true, true, []string{"cache", "trim", "--to", "2MB", "--cache", "CACHE"}},
}

// A killed run leaves no part of a file under its final name; the next run gives the same bytes, and then the cache has no fault.
func TestKilledAtAnyMoment(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a process is ended there in another way")
	}
	k := newKilling(t)
	for _, e := range endings {
		n := 2
		if long() {
			n = e.of200
		}
		t.Run(e.name, func(t *testing.T) {
			takes, whole := k.time(t, e.args, e.cached, e.placed)
			inTime := 0
			for i := range n {
				if k.once(t, i, e.args, e.cached, e.placed, whole, time.Duration(k.rng.Float64()*float64(takes))) {
					inTime++
				}
			}
			t.Logf("%d of %d were killed before they ended", inTime, n)
			if long() && inTime < n/2 {
				t.Errorf("only %d of %d were still at work when killed", inTime, n)
			}
		})
	}
}

type killing struct {
	exe, dir, manifest string
	full               string // a cache that holds everything
	done               string // an output folder that is whole
	want               map[string]cache.ID
	rng                *rand.Rand
}

func newKilling(t *testing.T) *killing {
	k := &killing{exe: program(t), rng: rand.New(rand.NewPCG(1969, 7))}
	k.dir, k.manifest = nightIn(t, k.exe)
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
	k.full, k.done = filepath.Join(k.dir, "full"), filepath.Join(k.dir, "done")
	k.finish(t, k.full, k.done)
	k.want = published(t, k.done)
	return k
}

func (k *killing) finish(t *testing.T, cacheDir, out string) {
	t.Helper()
	if b, err := exec.Command(k.exe, "run", k.manifest, "-o", out, "--cache", cacheDir).CombinedOutput(); err != nil {
		t.Fatalf("the next run: %v\n%s", err, b)
	}
}

// begin makes a cache and an output folder ready and starts a command on them.
func (k *killing) begin(t *testing.T, args []string, cached, placed bool) (cmd *exec.Cmd, cacheDir, out string) {
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

func (k *killing) start(t *testing.T, args []string, cacheDir, out string) *exec.Cmd {
	t.Helper()
	var words []string
	for _, a := range args {
		words = append(words, strings.NewReplacer("NIGHT", k.manifest, "OUT", out, "CACHE", cacheDir).Replace(a))
	}
	cmd := exec.Command(k.exe, words...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// time lets a command end, and returns how long it took and what stands in the output folder then.
func (k *killing) time(t *testing.T, args []string, cached, placed bool) (time.Duration, map[string]cache.ID) {
	t.Helper()
	began := time.Now()
	cmd, _, out := k.begin(t, args, cached, placed)
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return time.Since(began), published(t, out)
}

// once kills a command after some time, every third one twice, and tells whether it was still at work.
func (k *killing) once(t *testing.T, i int, args []string, cached, placed bool, whole map[string]cache.ID, after time.Duration) bool {
	t.Helper()
	cmd, cacheDir, out := k.begin(t, args, cached, placed)
	time.Sleep(after)
	_ = cmd.Process.Kill() // it may have ended
	_ = cmd.Wait()
	inTime := !cmd.ProcessState.Exited()
	if i%3 == 2 {
		cmd = k.start(t, args, cacheDir, out)
		time.Sleep(time.Duration(k.rng.Float64() * float64(after)))
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}
	for name, id := range published(t, out) {
		if id != k.want[name] && id != whole[name] {
			t.Errorf("killed after %v: %s stands there in part", after, name)
		}
	}
	k.finish(t, cacheDir, out)
	if d := differences(k.want, published(t, out)); len(d) > 0 {
		t.Errorf("killed after %v: after the next run other bytes in %v", after, d)
	}
	if left, _ := filepath.Glob(filepath.Join(out, ".plenilune-partial-*")); len(left) > 0 {
		t.Errorf("killed after %v: %v was left behind", after, left)
	}
	if b, err := exec.Command(k.exe, "cache", "check", "--cache", cacheDir).CombinedOutput(); err != nil {
		t.Errorf("killed after %v: the cache: %v\n%s", after, err, b)
	}
	if err := os.RemoveAll(filepath.Dir(cacheDir)); err != nil {
		t.Error(err)
	}
	return inTime
}

func copyAll(t *testing.T, to, from string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(fmt.Errorf("copy: %w", err))
	}
}
