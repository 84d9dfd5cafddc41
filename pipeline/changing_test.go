package pipeline

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// rewrite puts other bytes, as many, into a clip, as a recorder that fills a file made in advance does.
func (b *bench) rewrite(name, text string) {
	b.t.Helper()
	f, err := os.OpenFile(filepath.Join(b.dir, "clips", name), os.O_WRONLY, 0)
	if err != nil {
		b.t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte(text), 0); err != nil {
		b.t.Fatal(err)
	}
	soon := time.Now().Add(time.Second) // in case the clock did not tick
	if err := os.Chtimes(f.Name(), soon, soon); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) failure(step string) string {
	for _, e := range b.seen {
		if e.Step != nil && e.Step.Step == step && e.Step.Err != nil {
			return e.Step.Err.Error()
		}
	}
	return ""
}

// A clip that is rewritten while a part reads it is named, and nothing that came of it is kept under the old content's name.
func TestClipRewrittenWhileAPartReadsIt(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	old := time.Now().Add(-time.Hour)
	for _, name := range []string{"a", "b"} {
		if err := os.Chtimes(filepath.Join(b.dir, "clips", name), old, old); err != nil {
			t.Fatal(err)
		}
	}
	b.w.during = func() {
		b.w.mu.Lock()
		defer b.w.mu.Unlock()
		b.rewrite("a", "omega")
	}
	s, err := b.run(fakeManifest, Options{})
	if !errors.Is(err, ErrIncomplete) || s.Failed != 1 {
		t.Errorf("%+v, %v; want the clip failed", s, err)
	}
	if why := b.failure("clips.all:a/first"); !strings.Contains(why, "clips"+string(filepath.Separator)+"a changed while the run was reading it") {
		t.Errorf("it says %q", why)
	}
	if got := b.output(); got != "b" {
		t.Errorf("the output is %q, want what the other clip gives", got)
	}
	b.w.during = nil
	b.must(fakeManifest, Options{})
	if got := b.output(); got != "b-o" && got != "o-b" {
		t.Errorf("the next run gives %q", got)
	}
	b.rewrite("a", "alpha")
	b.must(fakeManifest, Options{})
	if got := b.output(); got != "b-a" && got != "a-b" {
		t.Errorf("with the old bytes again %q: a result was kept under their name", got)
	}
}

// One that is rewritten while its content is found is named before any part sees it.
func TestClipRewrittenWhileItIsRead(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha"})
	files := newFileSet(b.load(fakeManifest), b.c, false)
	path := filepath.Join(b.dir, "clips", "a")
	files.onRead = func(string, int64) { b.rewrite("a", "omega") }
	_, err := files.identify(t.Context(), path)
	if err == nil || !strings.Contains(err.Error(), path+" changed while the run was reading it") {
		t.Errorf("got %v", err)
	}
	files = newFileSet(b.load(fakeManifest), b.c, false)
	files.onRead = func(string, int64) { os.Remove(path) }
	if _, err := files.identify(t.Context(), path); err == nil || !strings.Contains(err.Error(), "went away") {
		t.Errorf("deleted meanwhile: %v", err)
	}
}

// Files dated ahead of the clock are read again in every run, which is told, and give the same.
func TestFilesDatedAheadOfTheClock(t *testing.T) {
	b := newBench(t, map[string]string{"a": "alpha", "b": "beta"})
	ahead := time.Now().Add(time.Hour)
	if err := os.Chtimes(filepath.Join(b.dir, "clips", "b"), ahead, ahead); err != nil {
		t.Fatal(err)
	}
	for round, ran := range []int{4, 0} {
		if s := b.must(fakeManifest, Options{}); s.Ran != ran {
			t.Errorf("round %d: %d ran, want %d", round, s.Ran, ran)
		}
		told := ""
		for _, e := range b.seen {
			if e.Warning != nil && e.Warning.Code == "file-dated-ahead" {
				told += e.Warning.Text
			}
		}
		if !strings.HasPrefix(told, "files are dated ahead of the clock (1, as b): ") {
			t.Errorf("round %d: told %q", round, told)
		}
	}
}
