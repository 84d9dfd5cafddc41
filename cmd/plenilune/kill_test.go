//go:build unix

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"plenilune/cache"
)

// endings is what may be going on when the program is killed, and how often each is tried of 200 times.
var endings = []struct {
	name   string
	of200  int
	cached bool     // with everything in the cache
	placed bool     // with everything in the output folder
	args   []string // NIGHT, OUT, CACHE and PACK are replaced
}{
	{"run", 60, false, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"delivery", 45, true, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"another recipe", 35, true, true, another},
	{"trim", 30, true, true, []string{"cache", "trim", "--to", "2MB", "--cache", "CACHE"}},
	{"pack", 30, true, true, packing},
}

// packing puts the night into one file.
var packing = []string{"pack", "NIGHT", "--from", "OUT", "--cache", "CACHE", "-o", "PACK", "--with-panels"}

// killed: a killed run leaves no part of a file under its final name; the next run gives the same bytes, and then the cache has
// no fault.
func (k *lasting) killed(t *testing.T) {
	for _, e := range endings {
		n := 2
		if long() {
			n = e.of200
		}
		t.Run(e.name, func(t *testing.T) {
			takes, _ := k.time(t, e.args, e.cached, e.placed)
			for range n / 10 { // the machine may have been busy with something else
				again, _ := k.time(t, e.args, e.cached, e.placed)
				takes = min(takes, again)
			}
			inTime := 0
			for i := range n {
				if k.once(t, i, e.args, e.cached, e.placed, time.Duration(k.rng.Float64()*float64(takes))) {
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

// time lets a command end, and returns how long it took and what stands in the output folder then.
func (k *lasting) time(t *testing.T, args []string, cached, placed bool) (time.Duration, map[string]cache.ID) {
	t.Helper()
	began := time.Now()
	cmd, _, out := k.begin(t, args, cached, placed)
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return time.Since(began), published(t, out)
}

// once kills a command after some time, every third one twice, and tells whether it was still at work.
func (k *lasting) once(t *testing.T, i int, args []string, cached, placed bool, after time.Duration) bool {
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
	k.whole(t, out) // what is unfinished may stand there, under a name of its own, until the next run
	k.finish(t, cacheDir, out)
	k.same(t, out)
	if slices.Contains(args, "PACK") {
		k.packs(t, cacheDir, out)
	}
	clean(t, cacheDir)
	if t.Failed() {
		t.Fatalf("killed after %v", after)
	}
	if err := os.RemoveAll(filepath.Dir(cacheDir)); err != nil {
		t.Error(err)
	}
	return inTime
}

// packs holds that a pack which stands after a kill is whole, and that the next command, a day later, makes the same and leaves nothing beside it.
func (k *lasting) packs(t *testing.T, cacheDir, out string) {
	t.Helper()
	file := packFile(cacheDir)
	if b, err := os.ReadFile(file); err == nil && cache.Sum(b) != k.pack {
		t.Errorf("after the kill %s stands there in part", file)
	}
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(file), ".plenilune-partial-*"))
	for _, l := range left { // younger than a day it may be another's work, and is left alone
		if err := os.Chtimes(l, time.Time{}, time.Now().Add(-25*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	if b, err := exec.Command("plenilune", k.words(packing, cacheDir, out)...).CombinedOutput(); err != nil {
		t.Errorf("the next pack: %v\n%s", err, b)
	}
	if b, err := os.ReadFile(file); err != nil || cache.Sum(b) != k.pack {
		t.Errorf("the next pack has other bytes (%v)", err)
	}
	partless(t, filepath.Dir(file))
}
