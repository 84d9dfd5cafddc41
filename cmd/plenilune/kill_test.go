//go:build unix

package main

import (
	"os"
	"path/filepath"
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
	args   []string // NIGHT, OUT and CACHE are replaced
}{
	{"run", 70, false, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"delivery", 50, true, false, []string{"run", "NIGHT", "-o", "OUT", "--cache", "CACHE"}},
	{"another recipe", 40, true, true, another},
	{"trim", 40, true, true, []string{"cache", "trim", "--to", "2MB", "--cache", "CACHE"}},
}

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
	k.whole(t, out)
	k.finish(t, cacheDir, out)
	k.same(t, out)
	clean(t, cacheDir)
	if t.Failed() {
		t.Fatalf("killed after %v", after)
	}
	if err := os.RemoveAll(filepath.Dir(cacheDir)); err != nil {
		t.Error(err)
	}
	return inTime
}
