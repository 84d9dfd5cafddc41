//go:build unix

package main

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// together: of two runs at once on one cache one waits, says for whom, and both are right; with --no-wait it says who is at work.
func (k *lasting) together(t *testing.T) {
	at := t.TempDir()
	cacheDir := filepath.Join(at, "cache")
	var cmds []*exec.Cmd
	var said [2]bytes.Buffer
	outs := []string{filepath.Join(at, "a"), filepath.Join(at, "b")}
	for i, out := range outs {
		cmd := exec.Command("plenilune", "run", k.manifest, "-o", out, "--cache", cacheDir)
		cmd.Stderr = &said[i]
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		cmds = append(cmds, cmd)
	}
	waits := 0
	for i, cmd := range cmds {
		if err := cmd.Wait(); err != nil {
			t.Errorf("run %d: %v\n%s", i, err, said[i].String())
		}
		waits += strings.Count(said[i].String(), "waiting for the cache: ")
		k.same(t, outs[i])
	}
	if waits != 1 {
		t.Errorf("%d said that they wait:\n%s\n%s", waits, said[0].String(), said[1].String())
	}
	clean(t, cacheDir)
}
