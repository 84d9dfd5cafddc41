package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"plenilune/cache"
	"plenilune/steps/simulate"
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

// nightsForBoth are nights that together need every kind of part, as small as they may be.
var nightsForBoth = []struct {
	manifest string
	strip    string // what a test strip is made of
	shoot    func(p *simulate.Plan)
	coarse   float64 // of one more panel: how much smaller its scale is
}{
	{"mono.hcl", "finish.print.shadow_lift=0,1", func(p *simulate.Plan) {
		p.DiskPx, p.Width, p.Height, p.Frames, p.Calibration = 190, 160, 120, 8, 5
		p.Aims = []simulate.Aim{{X: -25, Y: -42}, {X: 20, Y: 0}, {X: -20, Y: 42}}
	}, 0.5},
	{"colour.hcl", "", func(p *simulate.Plan) {
		p.DiskPx, p.Width, p.Height, p.Frames, p.Calibration, p.Colour, p.Bits = 150, 128, 96, 6, 4, true, 12
		p.Aims = []simulate.Aim{{X: 20, Y: -25}, {X: 20, Y: 25}}
	}, 0},
	{"long.hcl", "", func(p *simulate.Plan) {
		p.DiskPx, p.Width, p.Height, p.Frames, p.Calibration = 150, 72, 64, 70, 0
		p.Aims = []simulate.Aim{{X: 50, Y: 0}}
	}, 0},
}

// TestSameBytesOnARM64: every part gives the same bytes on both processors, and so does every file.
func TestSameBytesOnARM64(t *testing.T) {
	qemu := otherProcessor(t)
	native, foreign := []string{program(t)}, []string{qemu, arm64Program(t)}
	kinds := map[string]bool{}
	for _, n := range nightsForBoth {
		dir := t.TempDir()
		shootForBoth(t, dir, n.shoot, n.coarse)
		text, err := os.ReadFile("testdata/arm64/" + n.manifest)
		if err != nil {
			t.Fatal(err)
		}
		manifest := filepath.Join(dir, n.manifest)
		if err := os.WriteFile(manifest, text, 0o666); err != nil {
			t.Fatal(err)
		}
		verbs := [][]string{{"run", manifest}}
		if n.strip != "" {
			verbs = append(verbs, []string{"teststrip", manifest, n.strip})
		}
		here := workOf(t, native, filepath.Join(dir, "here"), verbs)
		there := workOf(t, foreign, filepath.Join(dir, "there"), verbs)
		if why := here.apart(there); why != "" {
			t.Errorf("%s: %s", n.manifest, why)
		}
		if d := differences(here.files, there.files); len(d) > 0 {
			t.Errorf("%s: other bytes in %v", n.manifest, d)
		}
		for _, s := range here.steps {
			kinds[s.kind()] = true
		}
	}
	for _, kind := range kindsOfParts(t) {
		if !kinds[kind] {
			t.Errorf("no night here needs %s: extend testdata/arm64, or a difference in it will not be found", kind)
		}
	}
	survey := []string{"survey", "../../examples/night.hcl", "--on", "2027-03-19", "--json"}
	if a, b := output(t, native, survey), output(t, foreign, survey); !bytes.Equal(a, b) {
		t.Errorf("survey says other things:\n%s\nand\n%s", a, b)
	}
}

func shootForBoth(t *testing.T, dir string, change func(*simulate.Plan), coarse float64) {
	t.Helper()
	p := simulate.Small()
	p.Workers = 2
	change(&p)
	if _, err := p.Shoot(context.Background(), folderSink{dir}, nil); err != nil {
		t.Fatal(err)
	}
	if coarse == 0 {
		return
	}
	p.DiskPx, p.Aims, p.Seed, p.Calibration = p.DiskPx*coarse, []simulate.Aim{{}}, p.Seed+1, 0
	if _, err := p.Shoot(context.Background(), folderSink{filepath.Join(dir, "coarse")}, nil); err != nil {
		t.Fatal(err)
	}
}

// partDone is a part of the work, what it was asked and what it made.
type partDone struct {
	Event, Step, State, Key, Error string
	Facts                          map[string]any
	text                           []byte // of the action, in the cache
	outputs                        []cache.Output
}

var partOfAction = regexp.MustCompile(`(?m)^part (\S+?)(?:-[0-9]+|-again)? `)

// kind is what steps/costs.go knows the part by: its name, and the ending of the file that it is for.
func (p partDone) kind() string {
	m := partOfAction.FindSubmatch(p.text)
	if m == nil {
		return ""
	}
	_, file, _ := strings.Cut(p.Step, " ")
	return string(m[1]) + filepath.Ext(file)
}

// worked is what verbs did: the parts in the order in which they ended, and the files.
type worked struct {
	steps []partDone
	files map[string]cache.ID
}

func workOf(t *testing.T, program []string, dir string, verbs [][]string) worked {
	t.Helper()
	var w worked
	c := filepath.Join(dir, "cache")
	for _, verb := range verbs {
		said := output(t, program, append(verb, "--json", "-j", "2", "-o", filepath.Join(dir, "out"), "--cache", c))
		for line := range bytes.Lines(said) {
			var p partDone
			if err := json.Unmarshal(line, &p); err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			if p.Event == "step" && p.State == "failed" {
				t.Fatalf("%s: %s", p.Step, p.Error)
			}
			if p.Event == "step" {
				w.steps = append(w.steps, p)
			}
		}
	}
	opened, err := cache.Open(context.Background(), c, cache.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	for i, s := range w.steps {
		key, err := cache.ParseID(s.Key)
		if err != nil {
			t.Fatal(err)
		}
		e, ok := opened.Action(key)
		if !ok {
			t.Fatalf("%s is not in the cache", s.Step)
		}
		w.steps[i].text, w.steps[i].outputs = e.Text, e.Outputs
	}
	w.files = published(t, filepath.Join(dir, "out"))
	return w
}

func output(t *testing.T, program, args []string) []byte {
	t.Helper()
	cmd := exec.Command(program[0], slices.Concat(program[1:], args)...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %v\n%s", cmd.Args, err, stderr.String())
	}
	return out
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

// kindsOfParts are those that steps/costs.go has figures for.
func kindsOfParts(t *testing.T) (kinds []string) {
	t.Helper()
	b, err := os.ReadFile("../../steps/costs.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`(?m)^\t"([a-z]+/[a-z.]+)": +\{`).FindAllSubmatch(b, -1) {
		kinds = append(kinds, string(m[1]))
	}
	if len(kinds) < 30 {
		t.Fatalf("only %d kinds of parts in steps/costs.go: %v", len(kinds), kinds)
	}
	return kinds
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
