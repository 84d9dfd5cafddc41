package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"plenilune/cache"
)

// otherProcessor is a program that runs programs for arm64 on this machine.
func otherProcessor(t *testing.T) string {
	t.Helper()
	if runtime.GOOS != "linux" || runtime.GOARCH != "amd64" {
		t.Skip("this compares amd64 with arm64, on Linux")
	}
	for _, name := range []string{"qemu-aarch64-static", "qemu-aarch64"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("PLENILUNE_REQUIRE_TOOLS") == "1" {
		t.Fatal("qemu-aarch64-static is not there, and PLENILUNE_REQUIRE_TOOLS asks for it")
	}
	t.Skip("qemu-aarch64-static is not there")
	return ""
}

// arm64Program builds the program for arm64 as it is shipped, without cgo.
func arm64Program(t *testing.T) string {
	t.Helper()
	exe := filepath.Join(t.TempDir(), "plenilune-arm64")
	cmd := exec.Command("go", "build", "-o", exe, ".")
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("build for arm64: %v\n%s", err, out)
	}
	return exe
}

// TestSameBytesOnARM64: every part gives the same bytes on both processors, and so does every file.
func TestSameBytesOnARM64(t *testing.T) {
	t.Parallel()
	qemu := otherProcessor(t)
	exe, foreign := program(t), []string{qemu, arm64Program(t)}
	kinds := kindsSeen{}
	for _, n := range everyKind {
		done, ok := n.natively(t, exe, kinds)
		if !ok {
			continue
		}
		for _, manifest := range n.manifests {
			here := done.works[manifest]
			there := workOf(t, foreign, filepath.Join(done.dir, "there"), n.verbs(t, done.dir, manifest))
			if why := here.apart(there); why != "" {
				t.Errorf("%s: %s", manifest, why)
			}
			if d := differences(here.files, there.files); len(d) > 0 {
				t.Errorf("%s: other bytes in %v", manifest, d)
			}
			n.holds(t, here)
		}
	}
	kinds.complete(t)
	survey := []string{"survey", "../../examples/night.hcl", "--on", "2027-03-19", "--json"}
	if a, b := output(t, []string{exe}, survey), output(t, foreign, survey); !bytes.Equal(a, b) {
		t.Errorf("survey says other things:\n%s\nand\n%s", a, b)
	}
}

// apart names the first part at which two works go apart.
func (w worked) apart(v worked) string {
	there := map[string]partDone{}
	for _, s := range v.steps {
		there[s.Key] = s
	}
	for _, s := range w.steps {
		o, ok := there[s.Key]
		switch {
		case !ok:
			return "at " + s.Step + " it is asked something else, or nothing"
		case !slices.Equal(s.outputs, o.outputs):
			return fmt.Sprintf("the first part that makes other bytes is %s: %v and %v", s.Step, s.outputs, o.outputs)
		case fmt.Sprint(s.Facts) != fmt.Sprint(o.Facts):
			return fmt.Sprintf("%s states other facts: %v and %v", s.Step, s.Facts, o.Facts)
		}
	}
	if len(w.steps) != len(v.steps) {
		return fmt.Sprintf("%d parts and %d", len(w.steps), len(v.steps))
	}
	return ""
}

// Of two parts that make other bytes the first in the work is named, not what follows from it.
func TestFirstPartApart(t *testing.T) {
	made := func(b string) []cache.Output { return []cache.Output{{Port: "image", ID: cache.Sum([]byte(b))}} }
	here := worked{steps: []partDone{{Step: "a", Key: "1", outputs: made("x")}, {Step: "b", Key: "2", outputs: made("y")}, {Step: "c", Key: "3"}}}
	there := worked{steps: []partDone{{Step: "a", Key: "1", outputs: made("x")}, {Step: "b", Key: "2", outputs: made("z")}, {Step: "c", Key: "4"}}}
	if why := here.apart(there); !strings.HasPrefix(why, "the first part that makes other bytes is b:") {
		t.Error(why)
	}
	if why := here.apart(here); why != "" {
		t.Error(why)
	}
	there = worked{steps: slices.Clone(here.steps)}
	there.steps[2].Facts = map[string]any{"width": 3.0}
	if why := here.apart(there); !strings.HasPrefix(why, "c states other facts") {
		t.Error(why)
	}
}
