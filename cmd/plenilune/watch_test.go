package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// nightWatch is a watch of a night in a folder, and a page that listens to it.
type nightWatch struct {
	t      *testing.T
	dir    string
	url    string
	states chan nightState
	stop   context.CancelFunc
	done   chan error
	said   *bytes.Buffer
}

// watched begins to watch dir/night.hcl, with less patience than a night needs.
func watched(t *testing.T, dir string) *nightWatch {
	t.Helper()
	f := watchFlags{cacheFlags: cacheFlags{dir: filepath.Join(dir, "cache")}, json: true, jobs: 2, memory: "1GB"}
	w, err := f.watcher(io.Discard, filepath.Join(dir, "night.hcl"))
	if err != nil {
		t.Fatal(err)
	}
	w.every, w.land.steady = 50*time.Millisecond, 400*time.Millisecond
	ctx, stop := context.WithCancel(t.Context())
	if err := f.lend(ctx, io.Discard, w); err != nil {
		t.Fatal(err)
	}
	l, err := f.at.open()
	if err != nil {
		t.Fatal(err)
	}
	n := &nightWatch{t: t, dir: dir, url: "http://" + l.Addr().String() + "/", states: make(chan nightState, 1000), stop: stop, done: make(chan error, 1), said: &bytes.Buffer{}}
	go func() {
		n.done <- w.serve(ctx, l, newWatchTeller(newScreen(n.said, io.Discard, true)))
	}()
	t.Cleanup(stop)
	n.listen()
	return n
}

// listen hears the page's events.
func (n *nightWatch) listen() {
	n.t.Helper()
	got, err := http.Get(n.url + "events")
	if err != nil {
		n.t.Fatal(err)
	}
	go func() {
		defer got.Body.Close()
		defer close(n.states)
		for s := bufio.NewReader(got.Body); ; {
			line, err := s.ReadString('\n')
			if err != nil {
				return
			}
			text, ok := strings.CutPrefix(line, "data: ")
			if !ok {
				continue
			}
			var state nightState
			if err := json.Unmarshal([]byte(text), &state); err != nil {
				n.t.Errorf("event %q: %v", text, err)
				return
			}
			n.states <- state
		}
	}()
}

// until waits for a state, and fails on one that must not be.
func (n *nightWatch) until(what string, is func(nightState) bool, never func(nightState) bool) nightState {
	n.t.Helper()
	var last nightState
	for late := time.After(3 * time.Minute); ; {
		select {
		case s, ok := <-n.states:
			if !ok {
				n.t.Fatalf("the page's events ended before %s; last: %+v", what, last)
			}
			if last = s; never != nil && never(s) {
				n.t.Fatalf("before %s: %+v", what, s)
			}
			if is(s) {
				return s
			}
		case <-late:
			n.t.Fatalf("%s never came; last: %+v", what, last)
		}
	}
}

// ends stops the watch.
func (n *nightWatch) ends() {
	n.t.Helper()
	n.stop()
	if err := <-n.done; !errors.Is(err, errServed) {
		n.t.Errorf("it ended with %v", err)
	}
}

func clipOf(s nightState, name string) (clipState, bool) {
	i := slices.IndexFunc(s.Clips, func(c clipState) bool { return c.Name == name })
	if i < 0 {
		return clipState{}, false
	}
	return s.Clips[i], true
}

func placedIn(s nightState) (n int) {
	for _, c := range s.Clips {
		if c.State == "placed" {
			n++
		}
	}
	return n
}

func quickIn(s nightState) bool {
	return slices.ContainsFunc(s.Clips, func(c clipState) bool { return c.Quick })
}

// appendTo writes more of a file, as a recorder does.
func appendTo(t *testing.T, path string, b []byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// A night comes in clip by clip, each in pieces: the page waits for each, names the hole while there is one and says where to point;
// then the run executes none of it again.
func TestWatchANight(t *testing.T) {
	t.Parallel()
	from, err := smallNight()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, masters := range []string{"dark", "flat"} {
		if err := os.CopyFS(filepath.Join(dir, masters), os.DirFS(filepath.Join(from, masters))); err != nil {
			t.Fatal(err)
		}
	}
	recipe, err := os.ReadFile("../../examples/disk.hcl")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "night.hcl"), recipe, 0o666); err != nil {
		t.Fatal(err)
	}
	clips, err := filepath.Glob(filepath.Join(from, "clips", "*.ser"))
	if err != nil || len(clips) != 4 {
		t.Fatalf("clips %v, %v", clips, err)
	}
	n := watched(t, dir)
	n.until("that no clip is there", func(s nightState) bool {
		return slices.ContainsFunc(s.Problems, func(p saying) bool { return p.Code == "no-file" && strings.Contains(p.Text, "clips/*.ser") })
	}, nil)
	for i, from := range clips {
		n.record(from, i)
	}
	closed := n.until("a closed disk at rest", func(s nightState) bool {
		return placedIn(s) == 4 && !quickIn(s) && len(s.Holes) == 0 && s.Next == nil && s.Stage == "at rest" && len(s.Landing) == 0
	}, nil)
	if d := closed.Disk; d == nil || d.ShownPct < 99 || len(d.Limb) != 3 {
		t.Errorf("disk %+v of a whole night", closed.Disk)
	}
	n.pictures(closed)
	ran := runsAfter(t, dir) // the watch lets it have the cache
	n.ends()
	n.lines()

	for _, step := range ran {
		if kind, _, _ := strings.Cut(step, "."); kind == "clips" || kind == "master" || kind == "stack" || kind == "mosaic" {
			t.Errorf("the run executed %s again", step)
		}
	}
	if len(ran) == 0 {
		t.Error("the run executed nothing: not even the finish, that no watch makes")
	}

	again := watched(t, dir)
	again.until("the whole disk, by another watch", func(s nightState) bool { return placedIn(s) == 4 && len(s.Holes) == 0 }, quickIn)
	again.ends()
}

// record writes the i-th clip in three pieces, with long rests between them; the page must wait for the last byte.
func (n *nightWatch) record(from string, i int) {
	n.t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		n.t.Fatal(err)
	}
	name := strings.TrimSuffix(filepath.Base(from), ".ser")
	path := filepath.Join(n.dir, "clips", name+".ser")
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		n.t.Fatal(err)
	}
	taken := func(s nightState) bool { _, ok := clipOf(s, name); return ok }
	for _, piece := range [][]byte{b[:len(b)/3], b[len(b)/3 : 2*len(b)/3]} {
		appendTo(n.t, path, piece)
		n.until("that "+name+" rests unfinished", func(s nightState) bool {
			return slices.ContainsFunc(s.Landing, func(f fileState) bool {
				return f.Name == name+".ser" && strings.Contains(f.State, "not finished")
			})
		}, taken)
	}
	appendTo(n.t, path, b[2*len(b)/3:])
	s := n.until(name+" placed, or known to be apart", func(s nightState) bool {
		c, ok := clipOf(s, name)
		return ok && (c.State == "placed" || c.State == "apart") && s.Stage == "at rest" && len(s.Landing) == 0
	}, nil)
	if i == 3 {
		return
	}
	if len(s.Holes) == 0 || s.Next == nil || len(s.Next.Outline) != 4 || len(s.Next.Neighbours) == 0 {
		n.t.Errorf("after %d of 4 clips: holes %+v, next %+v", i+1, s.Holes, s.Next)
	}
}

// pictures looks whether the page's pictures are there.
func (n *nightWatch) pictures(s nightState) {
	n.t.Helper()
	paths := []string{s.Disk.Picture}
	for _, c := range s.Clips {
		paths = append(paths, c.Picture)
	}
	for _, p := range paths {
		got, err := http.Get(n.url + strings.TrimPrefix(p, "/"))
		if err != nil {
			n.t.Fatal(err)
		}
		b, err := io.ReadAll(got.Body)
		got.Body.Close()
		if err != nil || !bytes.HasPrefix(b, []byte("\xff\xd8")) || got.Header.Get("Content-Type") != "image/jpeg" {
			n.t.Errorf("%s: %s of %d bytes, %v", p, got.Header.Get("Content-Type"), len(b), err)
		}
	}
}

// lines looks at what the terminal was told.
func (n *nightWatch) lines() {
	n.t.Helper()
	count, quick := map[string]int{}, map[string]bool{}
	for line := range strings.Lines(n.said.String()) {
		var o struct {
			Event string
			Holes []holeState
			Clip  clipState
		}
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			n.t.Errorf("line %q: %v", line, err)
		}
		count[o.Event]++
		if len(o.Holes) > 0 {
			count["holes"]++
		}
		if c := o.Clip; c.State == "placed" || c.State == "apart" { // first by its quick stack, then by its final one
			if was, told := quick[c.Name]; told && !was && c.Quick || !told && !c.Quick {
				n.t.Errorf("%s was told by stacks in the wrong order", line)
			}
			quick[c.Name] = c.Quick
		}
	}
	if count["listening"] != 1 || count["clip"] < 4 || count["disk"] < 2 || count["holes"] == 0 || count["holes"] >= count["disk"] {
		n.t.Errorf("told %v", count)
	}
	for name, still := range quick {
		if still {
			n.t.Errorf("nothing was told of the final stack of %s", name)
		}
	}
	if len(quick) != 4 {
		n.t.Errorf("quick stacks were told of: %v", quick)
	}
}

// runsAfter runs the night and returns the steps that ran.
func runsAfter(t *testing.T, dir string) (ran []string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run([]string{"run", filepath.Join(dir, "night.hcl"), "--cache", filepath.Join(dir, "cache"), "--json"}, &out, &errs); code != exitDone {
		t.Fatalf("run ended with %d: %s", code, &errs)
	}
	for line := range strings.Lines(out.String()) {
		var o struct{ Event, Step, State string }
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatal(err)
		}
		if o.Event == "step" && o.State == "ran" {
			ran = append(ran, o.Step)
		}
	}
	return ran
}
