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
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"plenilune/cache"
	"plenilune/steps/simulate"
)

// kindNight is a night with manifests that are run on it one after the other.
type kindNight struct {
	manifests []string // of testdata/arm64
	strip     string   // what a test strip of the first is made of
	shoot     func(t *testing.T, dir string)
	film      bool     // FFmpeg makes a film of it
	turning   bool     // its clips are the same on one kind of processor only
	states    []string // facts that some part must state, or the night does not do what it is for
}

// everyKind are nights that together need every kind of part, as small as they may be.
var everyKind = []kindNight{
	{manifests: []string{"mono.hcl"}, strip: "finish.print.shadow_lift=0,1", shoot: func(t *testing.T, dir string) {
		p := smallest(190, 160, 120, 8, simulate.Aim{X: -25, Y: -42}, simulate.Aim{X: 20, Y: 0}, simulate.Aim{X: -20, Y: 42})
		p.Calibration = 5
		shootKind(t, p, dir)
		p.DiskPx, p.Aims, p.Seed, p.Calibration = p.DiskPx/2, []simulate.Aim{{}}, p.Seed+1, 0
		shootKind(t, p, filepath.Join(dir, "coarse"))
	}},
	{manifests: []string{"colour.hcl"}, shoot: func(t *testing.T, dir string) {
		p := smallest(150, 128, 96, 6, simulate.Aim{X: 20, Y: -25}, simulate.Aim{X: 20, Y: 25})
		p.Calibration, p.Colour, p.Bits = 4, true, 12
		shootKind(t, p, dir)
	}},
	{manifests: []string{"long.hcl", "start.hcl"}, shoot: func(t *testing.T, dir string) {
		shootKind(t, smallest(150, 72, 64, 70, simulate.Aim{X: 50}), dir)
		asPictures(t, filepath.Join(dir, "clips"), filepath.Join(dir, "pictures"), 6)
	}},
	{manifests: []string{"film.hcl"}, film: true, shoot: func(t *testing.T, dir string) {
		shootKind(t, smallest(150, 72, 64, 6, simulate.Aim{X: 50}), dir)
		asFilms(t, filepath.Join(dir, "clips"), filepath.Join(dir, "films"))
	}},
	{manifests: []string{"turning.hcl"}, turning: true, states: []string{"sphere:panels carried to the middle of the session", "blur_fwhm_by_limb:"}, shoot: func(t *testing.T, dir string) {
		n := turningNight{diskPx: 180, width: 200, height: 200, frames: 2, every: 140 * time.Minute, aims: []simulate.Aim{{X: -3}, {}, {Y: 3}}}
		if err := n.shoot(filepath.Join(dir, "clips")); err != nil {
			t.Fatal(err)
		}
	}},
}

// smallest is a plan of frames of w × h px, without dark and flat frames.
func smallest(disk float64, w, h, frames int, aims ...simulate.Aim) simulate.Plan {
	p := simulate.Small()
	p.Workers, p.DiskPx, p.Width, p.Height, p.Frames, p.Aims, p.Calibration = 2, disk, w, h, frames, aims, 0
	return p
}

func shootKind(t *testing.T, p simulate.Plan, dir string) {
	t.Helper()
	if _, err := p.Shoot(context.Background(), folderSink{dir}, nil); err != nil {
		t.Fatal(err)
	}
}

// clipsIn are the clips of a folder, in order, and a folder for what is made of them.
func clipsIn(t *testing.T, from, to string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(from, "*.ser"))
	if err != nil || len(found) == 0 {
		t.Fatalf("clips %v: %v", found, err)
	}
	if err := os.MkdirAll(to, 0o777); err != nil {
		t.Fatal(err)
	}
	return found
}

// asPictures writes the first frames of each clip as pictures.
func asPictures(t *testing.T, from, to string, frames int) {
	t.Helper()
	for _, path := range clipsIn(t, from, to) {
		dir := filepath.Join(to, filepath.Base(path))
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := filmOf(b)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		for i := range frames {
			b, err := tiffFrame(f, i, "")
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, strconv.Itoa(i)+".tif"), b, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// asFilms writes each clip as a film without loss.
func asFilms(t *testing.T, from, to string) {
	t.Helper()
	for _, path := range clipsIn(t, from, to) {
		film := filepath.Join(to, filepath.Base(path)+".mkv")
		if out, err := exec.Command("ffmpeg", "-v", "error", "-i", path, "-pix_fmt", "gray", "-c:v", "ffv1", "-bitexact", film).CombinedOutput(); err != nil {
			t.Fatalf("ffmpeg: %v\n%s", err, out)
		}
	}
}

// kindDone is a night of a kind, and what was done with each of its manifests on this machine's processor.
type kindDone struct {
	dir   string
	works map[string]worked
}

// native holds the nights that were done, by their first manifest: the tests that look at them are several.
var native struct {
	sync.Mutex
	done map[string]kindDone
}

// natively does a night once; false: FFmpeg is absent, and the kinds that need it count as seen.
func (n kindNight) natively(t *testing.T, exe string, kinds kindsSeen) (kindDone, bool) {
	t.Helper()
	native.Lock()
	defer native.Unlock()
	d, ok := native.done[n.manifests[0]]
	if !ok {
		d = kindDone{works: map[string]worked{}}
		var err error
		if d.dir, err = os.MkdirTemp(preparedRoot, "kind-*"); err != nil {
			t.Fatal(err)
		}
		if !n.prepare(t, d.dir, kinds) {
			return d, false
		}
		for _, m := range n.manifests {
			d.works[m] = workOf(t, []string{exe}, filepath.Join(d.dir, "here"), n.verbs(t, d.dir, m))
		}
		if native.done == nil {
			native.done = map[string]kindDone{}
		}
		native.done[n.manifests[0]] = d
	}
	for _, w := range d.works {
		kinds.note(w)
	}
	return d, true
}

// prepare shoots a night into a folder; false: FFmpeg is absent, and the kinds that need it count as seen.
func (n kindNight) prepare(t *testing.T, dir string, kinds kindsSeen) bool {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); n.film && err != nil {
		if os.Getenv("PLENILUNE_REQUIRE_TOOLS") == "1" {
			t.Fatal("ffmpeg is not there, and PLENILUNE_REQUIRE_TOOLS asks for it")
		}
		t.Log("ffmpeg is not there: no film is read")
		kinds["captures/film"], kinds["captures/lay-film"] = true, true
		return false
	}
	n.shoot(t, dir)
	for _, m := range n.manifests {
		text, err := os.ReadFile("testdata/arm64/" + m)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, m), text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return true
}

// verbs are what is done with a manifest.
func (n kindNight) verbs(t *testing.T, dir, manifest string) [][]string {
	t.Helper()
	path := filepath.Join(dir, manifest)
	verbs := [][]string{{"run", path}}
	if n.strip != "" && manifest == n.manifests[0] {
		verbs = append(verbs, []string{"teststrip", path, n.strip})
	}
	return verbs
}

// holds fails where a night does not do what it is for.
func (n kindNight) holds(t *testing.T, w worked) {
	t.Helper()
	for _, fact := range n.states {
		if !slices.ContainsFunc(w.steps, func(p partDone) bool { return strings.Contains(fmt.Sprint(p.Facts), fact) }) {
			t.Errorf("%v: no part states %q", n.manifests, fact)
		}
	}
}

// kindsSeen are the kinds of parts, as steps/costs.go names them, that occurred.
type kindsSeen map[string]bool

func (k kindsSeen) note(w worked) {
	for _, s := range w.steps {
		k[s.kind()] = true
	}
}

// complete fails where a kind of part did not occur.
func (k kindsSeen) complete(t *testing.T) {
	t.Helper()
	for _, kind := range kindsOfParts(t) {
		if !k[kind] {
			t.Errorf("no night here needs %s: extend testdata/arm64, or a difference in it will not be found", kind)
		}
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

// kindsOfParts are those that steps/costs.go has figures for.
func kindsOfParts(t *testing.T) (kinds []string) {
	t.Helper()
	b, err := os.ReadFile("../../steps/costs.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`(?m)^\t"([a-z]+/[a-z.-]+)": +\{`).FindAllSubmatch(b, -1) {
		kinds = append(kinds, string(m[1]))
	}
	if len(kinds) < 30 {
		t.Fatalf("only %d kinds of parts in steps/costs.go: %v", len(kinds), kinds)
	}
	return kinds
}
