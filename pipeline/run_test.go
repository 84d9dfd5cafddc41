package pipeline

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSecondRunRunsNothing(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "c": "gamma"})
	if s := b.must(fakeManifest, Options{}); s.Ran != 5 || s.Cached != 0 {
		t.Errorf("first run: %+v, want 5 ran", s)
	}
	if s := b.must(fakeManifest, Options{}); s.Ran != 0 || s.Cached != 5 {
		t.Errorf("second run: %+v, want 5 cached", s)
	}
	if s := b.must("# a remark\n"+strings.ReplaceAll(fakeManifest, "  ", "    "), Options{}); s.Ran != 0 {
		t.Errorf("a remark: %+v", s)
	}
	if n := b.w.runs.Load(); n != 5 {
		t.Errorf("parts ran %d times in all, want 5", n)
	}
	if s := b.must(fakeManifest, Options{Fresh: true}); s.Ran != 5 {
		t.Errorf("fresh: %+v, want 5 ran", s)
	}
}

// Early cut-off (Mokhov, Mitchell & Peyton Jones 2018, "Build systems à la
// carte"): a clip that changed, but not in what its part makes of it, reruns that
// part and nothing behind it.
func TestEarlyCutOff(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	b.clip("a", "aleph")
	s := b.must(fakeManifest, Options{})
	if s.Ran != 1 || b.state("clips.all:a/first") != Ran || b.state("sum.s/join") != Cached || b.state("file.f/encode") != Cached {
		t.Errorf("%+v: first %s, join %s; want one part run", s, b.state("clips.all:a/first"), b.state("sum.s/join"))
	}
	// The lineage is another, so the file is written anew: its record names the new clip.
	for _, e := range b.seen {
		if e.Delivered != nil && !e.Delivered.Changed {
			t.Error("the file still has the old record")
		}
	}
}

func TestOneBadClipNeverStopsTheNight(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "bad": "!", "broken": "#", "odd": "?"})
	s, err := b.run(fakeManifest, Options{})
	if !errors.Is(err, ErrIncomplete) || s.Failed != 2 || s.Ran != 4 {
		t.Errorf("%+v, %v; want 2 failed, 4 ran", s, err)
	}
	for _, want := range []string{"a", "?"} {
		if !strings.Contains(b.output(), want) {
			t.Errorf("the output is %q, without %q", b.output(), want)
		}
	}
	var failed, warned string
	for _, e := range b.seen {
		if e.Step != nil && e.Step.State == Failed {
			failed += e.Step.Step + ": " + e.Step.Err.Error() + "\n"
		}
		if e.Warning != nil {
			warned += e.Warning.Code + ": " + e.Warning.Text
		}
	}
	if !strings.Contains(failed, "clips.all:bad/first: it begins with a bang") || !strings.Contains(failed, "clips.all:broken/first: defect in this program: a hash") {
		t.Errorf("failures told:\n%s", failed)
	}
	if warned != "odd: odd asks" {
		t.Errorf("warned %q", warned)
	}
	// A warning is part of the result: it comes again from the cache.
	if _, err := b.run(fakeManifest, Options{}); !errors.Is(err, ErrIncomplete) {
		t.Errorf("second run: %v", err)
	}
	warned = ""
	for _, e := range b.seen {
		if e.Warning != nil {
			warned += e.Warning.Text
		}
	}
	if warned != "odd asks" {
		t.Errorf("the cached part warned %q", warned)
	}
}

func TestAllClipsBad(t *testing.T) {
	b := newBench(t, map[string]string{"a": "!1", "b": "!2"})
	s, err := b.run(fakeManifest, Options{})
	if s.Failed != 2 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestBoundsHold(t *testing.T) {
	clips := map[string]string{}
	for i := range 12 {
		clips[string(rune('a'+i))] = string(rune('a'+i)) + "x"
	}
	b := newBench(t, clips)
	b.must(fakeManifest, Options{Jobs: 4, Memory: 2*fakeMemory + 50})
	if b.w.most > 2 || b.w.filled > 2*fakeMemory+50 {
		t.Errorf("%d parts at once with %d bytes; the memory allows 2", b.w.most, b.w.filled)
	}
	if b.w.most < 2 {
		t.Error("parts never ran side by side")
	}
	// A part that wants more than there is runs alone rather than never.
	b2 := newBench(t, clips)
	b2.must(fakeManifest, Options{Jobs: 4, Memory: fakeMemory / 2})
	if b2.w.most != 1 {
		t.Errorf("%d parts at once in half the memory of one", b2.w.most)
	}
}

func TestDamagedValueIsMadeAgain(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	b.must(fakeManifest, Options{})
	want := b.output()
	b.c.Close()
	flipped := 0
	err := filepath.WalkDir(filepath.Join(b.dir, "cache"), func(p string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.Contains(filepath.ToSlash(p), "/blobs/") {
			return err
		}
		raw, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		raw[len(raw)/2] ^= 0x40
		flipped++
		return os.WriteFile(p, raw, 0o666)
	})
	if err != nil || flipped == 0 {
		t.Fatalf("damaged %d large values: %v", flipped, err)
	}
	b.open()
	if err := os.RemoveAll(filepath.Join(b.dir, "out")); err != nil {
		t.Fatal(err)
	}
	s, err := b.run(fakeManifest, Options{})
	if err != nil || b.output() != want {
		t.Errorf("after damage: %+v, %v, output %q", s, err, b.output())
	}
}

func TestOnly(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	s := b.must(fakeManifest, Options{Only: []string{"clips.all"}})
	if s.Ran != 2 || s.Delivered != 0 {
		t.Errorf("--only clips.all: %+v", s)
	}
	if s = b.must(fakeManifest, Options{Only: []string{"sum.txt"}}); s.Ran != 2 || s.Delivered != 1 {
		t.Errorf("--only sum.txt: %+v", s)
	}
	var req *RequestError
	for _, name := range []string{"moon.txt", "sum.t", "nothing"} {
		if _, err := b.run(fakeManifest, Options{Only: []string{name}}); !errors.As(err, &req) {
			t.Errorf("--only %s: %v, want a wrong request", name, err)
		}
	}
}

func TestInterruptedRunGoesOn(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta", "slow": "@"})
	ctx, cancel := context.WithCancel(t.Context())
	m := b.load(fakeManifest)
	time.AfterFunc(100*time.Millisecond, cancel)
	began := time.Now()
	_, err := Run(ctx, m, b.c, Options{OutDir: filepath.Join(b.dir, "out"), Jobs: 3, Memory: 1 << 20})
	if !errors.Is(err, context.Canceled) || time.Since(began) > 5*time.Second {
		t.Errorf("ended after %v with %v", time.Since(began), err)
	}
	if _, err := os.Stat(filepath.Join(b.dir, "out", "sum.txt")); err == nil {
		t.Error("an interrupted run delivered")
	}
	if err := os.Remove(filepath.Join(b.dir, "clips", "slow")); err != nil {
		t.Fatal(err)
	}
	if s := b.must(fakeManifest, Options{}); s.Cached != 2 {
		t.Errorf("the next run: %+v, want the two letters from the cache", s)
	}
}

func TestOutputPutRight(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	b.must(fakeManifest, Options{})
	path := filepath.Join(b.dir, "out", "sum.txt")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(b.dir, "out", partialPrefix+"123")
	for _, p := range []string{path, left} {
		if err := os.WriteFile(p, []byte("half"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if s := b.must(fakeManifest, Options{}); s.Ran != 0 {
		t.Errorf("putting a file right ran %d parts", s.Ran)
	}
	if got, _ := os.ReadFile(path); string(got) != string(whole) {
		t.Errorf("the file is %q", got)
	}
	if _, err := os.Stat(left); err == nil {
		t.Error("what a kill left behind is still there")
	}
}
