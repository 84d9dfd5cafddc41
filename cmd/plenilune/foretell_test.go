package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plenilune/cache"
	"plenilune/pipeline"
	"plenilune/steps"
)

// disks tells the free bytes of made-up disks: each folder's name begins with that
// of its disk.
func disks(free map[string]int64) func(string) (string, int64, bool) {
	return func(dir string) (string, int64, bool) {
		for name, n := range free {
			if strings.HasPrefix(filepath.Base(dir), name) {
				return name, n, true
			}
		}
		return "", 0, false
	}
}

// TestLackingRoom: what is needed is added up disk by disk, and told with what is
// free and what to do.
func TestLackingRoom(t *testing.T) {
	dir := t.TempDir()
	for _, d := range []string{"a1", "a2", "b"} {
		if err := os.Mkdir(filepath.Join(dir, d), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	f := pipeline.Forecast{Run: 3, CacheBytes: 100e6 - cache.Floor, OutBytes: 60e6, OutGrowth: 50e6}
	for _, c := range []struct {
		name, cache, out string
		free             map[string]int64
		want             []string // nil: there is room
	}{
		{"one disk", "a1", "a2", map[string]int64{"a": 149e6}, []string{"about 150 MB are needed", "100 MB of cache", "50 MB of output", "149 MB are free", "cache trim --to SIZE", "--cache DIR"}},
		{"one disk with room", "a1", "a2", map[string]int64{"a": 150e6}, nil},
		{"two disks", "a1", "b", map[string]int64{"a": 100e6, "b": 49e6}, []string{"about 50 MB are needed (50 MB of output), 49 MB are free"}},
		{"two disks that both lack it", "a1", "b", map[string]int64{"a": 99e6, "b": 1e6}, []string{"about 100 MB", "99 MB are free", "about 50 MB", "1.0 MB are free"}},
		{"folders that are not there yet", "a1/x/y", "b/x", map[string]int64{"a": 1e6, "b": 1e12}, []string{"about 100 MB"}},
		{"a disk that does not say", "a1", "b", map[string]int64{"b": 1e12}, nil},
	} {
		s := newScreen(&bytes.Buffer{}, &bytes.Buffer{}, false)
		tell := foretelling{screen: s, cache: filepath.Join(dir, c.cache), out: filepath.Join(dir, c.out), volume: disks(c.free)}
		err := tell.expect(f)
		if (err != nil) != (c.want != nil) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s: %q does not hold %q in one line", c.name, err, w)
			}
		}
		if tell.anyRoom = true; tell.expect(f) != nil {
			t.Errorf("%s: --any-room does not go on", c.name)
		}
	}
	nothing := pipeline.Forecast{Cached: 9}
	tell := foretelling{screen: newScreen(&bytes.Buffer{}, &bytes.Buffer{}, false), cache: dir, out: dir,
		volume: func(string) (string, int64, bool) { return "", 0, true }}
	if err := tell.expect(nothing); err != nil {
		t.Errorf("a run that writes nothing needs room: %v", err)
	}
}

// TestRunStopsWithoutRoom: the code is 1, nothing was computed but what clips
// there are, and nothing was written.
func TestRunStopsWithoutRoom(t *testing.T) {
	from, err := smallNight()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	manifest := writeNight(t, from, dir)
	var stdout, stderr bytes.Buffer
	f := runFlags{json: true, volume: func(string) (string, int64, bool) { return "disk", 5e6, true }}
	f.dir = filepath.Join(dir, "cache")
	err = f.run(context.Background(), &stdout, &stderr, manifest)
	if code := exitCode(context.Background(), err, &stderr); code != exitFailed {
		t.Errorf("exit %d: %v", code, err)
	}
	if n := strings.Count(stderr.String(), "\n"); n != 1 || !strings.Contains(stderr.String(), "5.0 MB are free") {
		t.Errorf("stderr is %q", stderr.String())
	}
	var o map[string]any
	if err := json.Unmarshal(stdout.Bytes(), &o); err != nil || o["event"] != "expected" || o["room"] != false {
		t.Errorf("stdout is %q: %v", stdout.String(), err)
	}
	if _, err := os.Stat(outDir(manifest, "")); err == nil {
		t.Error("the output folder was made")
	}
}

func writeNight(t *testing.T, from, dir string) (manifest string) {
	t.Helper()
	n, err := surveyFolder(filepath.Join(from, "clips"), givenFrames{})
	if err != nil {
		t.Fatal(err)
	}
	manifest = filepath.Join(dir, "night.hcl")
	text, err := n.manifest(manifest)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(manifest, text, 0o666); err != nil {
		t.Fatal(err)
	}
	return manifest
}

// TestCostsKnowEveryPart: every kind of part that a whole night needs has figures,
// and the guess at what blocks are cut into is right to the part. With -v it
// prints how parts compare with their figures, to measure these anew.
func TestCostsKnowEveryPart(t *testing.T) {
	t.Parallel()
	from, err := smallNight()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var stdout, stderr bytes.Buffer
	f := runFlags{json: true, workFlags: workFlags{jobs: 1}}
	f.dir = filepath.Join(dir, "cache")
	if err := f.run(context.Background(), &stdout, &stderr, writeNight(t, from, dir)); err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	lines := bytes.Split(bytes.TrimSpace(stdout.Bytes()), []byte("\n"))
	var first, last struct {
		Run, Ran, Cached int
		Learned          bool
		OutputBytes      float64 `json:"output_bytes"`
		CacheBytes       float64 `json:"cache_bytes"`
	}
	if err := json.Unmarshal(lines[0], &first); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(lines[len(lines)-1], &last); err != nil {
		t.Fatal(err)
	}
	if first.Run != last.Ran || first.Cached != 0 || first.Learned {
		t.Errorf("%d parts were expected, %d ran", first.Run, last.Ran)
	}
	written := 0.0
	files, err := filepath.Glob(filepath.Join(dir, "night-out", "disk*"))
	if err != nil || len(files) < 4 {
		t.Fatalf("%v: %v", files, err)
	}
	for _, name := range files {
		if st, err := os.Stat(name); err == nil && !strings.HasSuffix(name, ".json") {
			written += float64(st.Size())
		}
	}
	if r := first.OutputBytes / written; r < 0.5 || r > 2.5 {
		t.Errorf("%.0f bytes of output were expected, %.0f were written", first.OutputBytes, written)
	}
	c, err := cache.Open(context.Background(), f.dir, cache.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	usage, err := c.Size()
	if err != nil {
		t.Fatal(err)
	}
	if r := first.CacheBytes / float64(usage.Total()); r < 0.5 || r > 2 {
		t.Errorf("%.0f bytes of cache were expected, it takes %d", first.CacheBytes, usage.Total())
	}
	var learned struct {
		Kinds map[string]struct{ Time, Cache, File float64 }
	}
	note, _ := c.Note("pace")
	if err := json.Unmarshal(note, &learned); err != nil || len(learned.Kinds) < 15 {
		t.Fatalf("learned %q: %v", note, err)
	}
	for kind, r := range learned.Kinds {
		t.Logf("%-20s time × %.2f, cache × %.2f, file × %.2f", kind, r.Time, r.Cache, r.File)
		if !(steps.Costs{}).Knows(kind) {
			t.Errorf("%s has no figures in steps/costs.go", kind)
		}
	}
}
